"""One picture of the window from its state; the still part is kept on a surface of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import FieldPicture, PlayCanvas
from synth.window.draw_antenna import draw_antenna
from synth.window.draw_hand import draw_figure, draw_hand, draw_trail, draw_trail_end
from synth.window.draw_overlay import (
    KEY_PIECES,
    STRIP_KEY_PIECES,
    draw_caution,
    draw_header,
    draw_help,
    draw_help_status,
    draw_leaving,
    draw_still_header,
    draw_too_small,
)
from synth.window.draw_practice import draw_places, draw_practice, draw_scatter
from synth.window.draw_practice_pages import (
    FoundPage,
    PracticePage,
    draw_found_page,
    draw_practice_page,
    draw_result_page,
)
from synth.window.draw_readouts import (
    draw_chain,
    draw_level,
    draw_oscillogram,
    draw_spectrum,
    draw_still_panels,
    draw_tuner,
    panel_rooms,
)
from synth.window.draw_room import draw_room, draw_still_room
from synth.window.draw_settings import draw_settings
from synth.window.draw_stage import draw_field
from synth.window.draw_volume import draw_volume_hand
from synth.window.drawer import ControlRow, draw_drawer, draw_hint, strip_effect, strip_words, without_effects
from synth.window.keys import help_groups, help_pages
from synth.window.layer import Layer, joined
from synth.window.layout import Layout, lay_out, needed_size, too_small
from synth.window.painter import DrawnText, Point
from synth.window.picture import PIECES, Picture
from synth.window.practice import Result
from synth.window.scale import NARROWEST, Shown, StageScale, usual_view
from synth.window.state import WindowState

if TYPE_CHECKING:
    import pygame


SPAN_SHARE = 0.7  # of the stage's width, that a span takes
SLOW = ("tuner", "spectrum", "chain")  # panels that change with the numbers, not with every picture


class View:
    """Draws the window of one pitch field at whatever size it has."""

    def __init__(self, picture: FieldPicture) -> None:
        self._canvas = PlayCanvas()
        self._still: pygame.Surface | None = None
        self._still_key: tuple[object, ...] = ()
        self._still_texts: tuple[DrawnText, ...] = ()
        self._empty: pygame.Surface | None = None  # what stands still, without the slow panels and layers
        self._slow: tuple[object, ...] | None = None
        self._slow_texts: tuple[DrawnText, ...] = ()
        self._head, self._sound, self._trail, self._arms = self._layers = (Layer(), Layer(), Layer(), Layer())
        self._trail_end: Point | None = None  # where the trail that is drawn begins, while it grows
        self._second = True  # this picture is one of those that show trail and arms anew
        self._played: tuple[object, ...] | None = None  # what the last picture drew over what stands still
        self._touched: list[pygame.Rect] = []  # by what the last picture drew over what stands still
        self._rows: tuple[ControlRow, ...] = ()
        self._row_texts: tuple[DrawnText, ...] = ()
        self.size = (0, 0)
        self._look = "dark"
        self._chosen: Shown | None = None
        self._before: tuple[Shown | None] | None = None  # what was chosen before a span was shown
        self.text_scale = 1.0
        self.mirrored = False
        self.layout: Layout | None = None
        self.scale: StageScale | None = None
        self.practice_page: PracticePage | Result | FoundPage | None = (
            None  # what the page of practice holds, while it is open
        )
        self.show(picture)

    def show(self, picture: FieldPicture) -> None:
        """Show this field from now on: another design, or the same one tuned otherwise.

        The scale of the stage follows at the next picture that is drawn while no slider is held.
        """
        self._canvas.field = picture
        self._usual = usual_view(picture.notes, picture.zero_beat, self._farthest, picture.way)
        if self.size == (0, 0):
            self._range = self._usual
        else:
            self.resize(self.size)

    def resize(self, size: tuple[int, int], text_scale: float | None = None, mirrored: bool | None = None) -> None:
        """Take a new window size, text size or side of the rod; nothing is laid out while the window is too small."""
        self._still = None
        self.size = size
        self.text_scale = self.text_scale if text_scale is None else text_scale
        self.mirrored = self.mirrored if mirrored is None else mirrored
        small = too_small(size, self.text_scale)
        self.layout = None if small else lay_out(size, self.text_scale, self.mirrored)
        self.scale, picture = None, self._canvas.field
        if self.layout is not None:
            self._canvas.lay_out(self.layout)
            scale = StageScale(self.layout.stage, self._range.width, *picture.ends, picture.volume, self.mirrored)
            self.scale = replace(scale, start=self._range.start, way=picture.way)
            self._canvas.scale = self.scale

    def _open_drawer(self, wanted: bool) -> None:
        """The controls in the stage's place, where they have only a strip."""
        if self.layout is not None and self.layout.drawer_over_stage != wanted:
            changed = self.layout.with_open_drawer() if wanted else lay_out(self.size, self.text_scale, self.mirrored)
            if changed is not self.layout:
                self.layout, self._still = changed, None
                self._canvas.lay_out(changed)

    def zoom(self, factor: float, around: float) -> None:
        """Show `factor` times as much of the field, with the distance `around`, m, left at its place."""
        self._chosen = self._range.zoomed(factor, self._canvas.field.way.tip(around), self._farthest)
        self._follow_choice()

    def pan(self, share: float) -> None:
        """Show what lies farther from the antenna by a share of the stage's width."""
        self._chosen = self._range.panned(share, self._farthest)
        self._follow_choice()

    def usual_range(self) -> None:
        """Show the notes from C2 to C6 again."""
        self._chosen = None
        self._follow_choice()

    def show_between(self, span: tuple[float, float] | None) -> None:
        """Show what lies between two distances, m, in the middle of the width, until None is given."""
        if span is None:
            if self._before is not None:
                self._chosen, self._before = self._before[0], None
                self._follow_choice()
            return
        if self._before is None:
            self._before = (self._chosen,)
        near, far = sorted(map(self._canvas.field.way.tip, span))
        width = max((far - near) / SPAN_SHARE, NARROWEST)
        self._chosen = Shown(0.5 * (near + far - width), width).within(self._farthest)
        self._follow_choice()

    def _follow_choice(self) -> None:
        self._range = self._usual if self._chosen is None else self._chosen
        self.resize(self.size)

    @property
    def _farthest(self) -> float:
        """The end of the hand's way, m."""
        return self._canvas.field.way.tip(self._canvas.field.ends[1])

    def renew(self) -> None:
        """Draw everything at the next picture, after the window was uncovered."""
        self._still = None

    @property
    def texts(self) -> tuple[DrawnText, ...]:
        """Every text of the last picture, for checks."""
        layers = [text for layer in self._layers for text in layer.texts]
        return (*self._still_texts, *self._row_texts, *self._slow_texts, *layers, *self._canvas.texts)

    def draw(self, surface: pygame.Surface, state: WindowState, shown: Picture) -> list[pygame.Rect]:
        """Draw onto `surface`, which holds the last picture; return the rectangles that may have changed."""
        palette.use(state.look)
        if state.look != self._look:
            self._look = state.look
            self.renew()
        if (state.text_scale, state.mirrored) != (self.text_scale, self.mirrored):
            self.resize(self.size, state.text_scale, state.mirrored)
        wanted = self._usual if self._chosen is None else self._chosen
        if self._range != wanted and not state.dragging:
            self._range = wanted
            self.resize(self.size)
        self._open_drawer(state.drawer_open)
        canvas, layout = self._canvas, self.layout
        if layout is None:
            canvas.onto(surface)
            self._still_texts = self._row_texts = self._slow_texts = ()
            for layer in self._layers:
                layer.forget()
            draw_too_small(canvas, surface.get_size(), needed_size(self.text_scale))
            return [surface.get_rect()]
        page = _page_of(state)
        before: list[pygame.Rect] = []
        strip = strip_words(shown.rows) if layout.drawer_is_strip else ()
        remarks = shown.remarks if page == "help" else ()
        key = (
            page,
            state.help_page,
            state.leaving,
            remarks,
            shown.sides,
            shown.active_side,
            bool(shown.settings),
            shown.guide,
            shown.drone,
            strip,
            self.practice_page if page == "practice" else None,
        )
        if self._still is None or key != self._still_key:
            self._still, self._still_key = surface.copy(), key
            self._draw_still(self._still, page, shown, strip, state)
            before = [surface.get_rect()]
            self._played = None
        if not page and shown.rows != self._rows:
            before.append(surface.get_rect().clip(self._draw_rows(self._still, layout, shown.rows)))
        slow = (shown.readouts, shown.spectrum, shown.settings)
        if not page and slow != self._slow:
            before += self._draw_slow(self._still, shown)
            self._slow = slow
        assert self._empty is not None
        before += self._draw_layers(self._still, self._empty, state, shown, page)
        played = None if page else _played(state, shown)
        if not before and played == self._played:
            return []
        left, self._played, still = self._touched, played, self._still
        surface.blits([(still, changed, changed) for changed in (*before, *left)], False)
        canvas.onto(surface)
        if not page:
            self._draw_playing(state, shown)
        self._touched = [touched.inflate(4, 4) for touched in canvas.touched]
        return before + joined(left, self._touched)

    def _draw_layers(
        self, still: pygame.Surface, empty: pygame.Surface, state: WindowState, shown: Picture, page: str
    ) -> list[pygame.Rect]:
        """What changes more slowly than the pictures come, on what stands still; where it did.

        While they move, the trail and the arms in the picture of the room are drawn for every second picture.
        """
        canvas = self._canvas
        effect = strip_effect(shown.rows) if canvas.layout.drawer_is_strip and not page else ""
        head = (shown.flags, shown.status, shown.notice, shown.listening, effect)

        def draw_head() -> None:
            draw_header(canvas, *head)
            if page == "help":
                draw_help_status(canvas, PIECES.join(shown.status))

        changed = self._head.draw(canvas, still, empty, head, draw_head)
        if page:
            return changed
        wave = shown.oscillogram.tobytes(), shown.oscillogram_span, shown.peak, shown.rms
        changed += self._sound.draw(canvas, still, empty, wave, lambda: draw_sound(canvas, shown))
        self._second = not self._second
        if canvas.layout.drawer_over_stage or not (self._second or self._arms.empty):
            return changed
        trail = tuple(shown.trail)
        if not self._trail.shows(trail):
            ends: list[Point] = []
            changed += self._trail.draw(canvas, still, empty, trail, lambda: ends.extend(draw_trail(canvas, trail)))
            self._trail_end = ends[0] if ends and trail[0][0] == 0.0 else None
        arms = (state.distance, state.opening, state.height, state.present)
        return changed + self._arms.draw(canvas, still, empty, arms, lambda: draw_room(canvas, state))

    def _draw_rows(self, still: pygame.Surface, layout: Layout, rows: tuple[ControlRow, ...]) -> Box:
        """The controls on what stands still; where they changed. While a hand moves that is their hint alone."""
        canvas, hint, same = self._canvas, layout.drawer_hint, without_effects(rows) == without_effects(self._rows)
        self._rows = rows
        canvas.onto(still)
        if same:
            draw_hint(canvas, rows)
            above = [text for text in self._row_texts if text.place.top < hint.top]
            self._row_texts = (*above, *canvas.texts)
            return hint
        still.fill(palette.GROUND, layout.drawer)
        draw_drawer(canvas, rows)
        draw_hint(canvas, rows)
        self._row_texts = tuple(canvas.texts)
        return layout.drawer

    def _draw_playing(self, state: WindowState, shown: Picture) -> None:
        """What may change with every picture."""
        canvas = self._canvas
        if not canvas.layout.drawer_over_stage:
            if self._trail_end is not None and not self._second:
                draw_trail_end(canvas, self._trail_end, shown.trail)
            if shown.practice is not None:
                draw_places(canvas, shown.practice)
            draw_scatter(canvas, state.distance, shown.scatter)
            draw_figure(canvas, state)
            sounding = state.volume > 0.0 and not state.silenced
            draw_hand(canvas, state, shown.readouts, shown.heard, shown.oscillogram if sounding else None, shown.rms)
            draw_volume_hand(canvas, state)
            if shown.practice is not None:
                draw_practice(canvas, shown.practice)

    def _draw_slow(self, still: pygame.Surface, shown: Picture) -> list[pygame.Rect]:
        """The panels that change more slowly than the pictures come, drawn on what stands still; where they are."""
        canvas, panels = self._canvas, [box for name in SLOW if (box := self.layout_seen.get(name)) is not None]
        assert self._empty is not None
        for panel in panels:
            still.blit(self._empty, panel, panel)
        canvas.onto(still)
        draw_tuner(canvas, shown.readouts)
        draw_spectrum(canvas, shown.spectrum)
        if shown.settings:
            rooms = panel_rooms(canvas.layout)
            draw_settings(canvas, shown.settings, rooms["chain caption"], rooms["chain"])
        else:
            draw_chain(canvas, shown.readouts)
        self._slow_texts = tuple(canvas.texts)
        return [still.get_rect().clip(panel) for panel in panels]

    @property
    def layout_seen(self) -> dict[str, Box]:
        """The boxes seen together while playing; none while the window is too small."""
        return {} if self.layout is None else self.layout.seen

    def _draw_still(
        self, still: pygame.Surface, page: str, shown: Picture, strip: Sequence[str], state: WindowState
    ) -> None:
        """What stands still but for the drawer."""
        canvas = self._canvas
        canvas.onto(still)
        still.fill(palette.GROUND)
        keys = (*STRIP_KEY_PIECES, *strip) if strip else KEY_PIECES
        draw_still_header(canvas, shown.sides, shown.active_side, keys)
        if page == "caution":
            draw_caution(canvas)
        elif page == "leaving":
            draw_leaving(canvas, state.leaving)
        elif page == "practice" and isinstance(self.practice_page, PracticePage):
            draw_practice_page(canvas, self.practice_page)
        elif page == "practice" and isinstance(self.practice_page, FoundPage):
            draw_found_page(canvas, self.practice_page)
        elif page == "practice" and isinstance(self.practice_page, Result):
            draw_result_page(canvas, self.practice_page)
        elif page == "help":
            groups = help_groups(has_ring=canvas.field.volume.top is not None)
            draw_help(canvas, groups, shown.remarks, state.help_page, help_pages(self.text_scale))
        else:
            draw_still_panels(canvas, not shown.settings)
            if not canvas.layout.drawer_over_stage:
                draw_field(canvas, shown.guide, shown.drone)
                draw_antenna(canvas)
                draw_still_room(canvas)
        self._still_texts = tuple(canvas.texts)
        self._rows, self._row_texts = (), ()
        self._slow, self._slow_texts = None, ()
        for layer in self._layers:
            layer.forget()
        self._trail_end, self._touched = None, []
        self._empty = still.copy()


def _played(state: WindowState, shown: Picture) -> tuple[object, ...]:
    """What the picture over what stands still depends on."""
    return state, shown.readouts, shown.heard, shown.scatter, shown.practice


def draw_sound(canvas: PlayCanvas, shown: Picture) -> None:
    """The oscillogram and the level."""
    with canvas.as_one():
        draw_oscillogram(canvas, shown.oscillogram, shown.oscillogram_span)
    with canvas.as_one():
        draw_level(canvas, shown.peak, shown.rms)


def _page_of(state: WindowState) -> str:
    """The page that lies over the stage, or nothing."""
    pages = ("caution", state.caution_open), ("leaving", state.leaving), ("help", state.help_open)
    return next((name for name, there in (*pages, ("practice", state.practice_page)) if there), "")
