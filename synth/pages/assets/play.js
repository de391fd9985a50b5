"use strict";
// The instrument of a design under the pointer: the hand's distance across, the volume hand's height upwards. Two
// fingers are two hands: the one over the ring at the left says the volume, the other the pitch.

const RING_SHARE = 0.16; // of the field's width, at the left: over the ring
const FIELD_HEIGHT = 360;

class PlayStation extends Station {
  setUp() {
    const {part} = this;
    this.recipe = DATA.recipes[0];
    this.value = part.resting;
    this.height = 0.7;
    this.here = true;
    this.fingers = new Map();
    this.field = document.querySelector(".strings");
    this.sliders = {distance: byId("play-distance"), height: byId("play-height")};
    this.sliders.distance.value = 1000 * (1 - part.resting / part.width);
    this.sliders.distance.addEventListener("input", ({target}) => {
      this.hand({distance: part.width * (1 - target.value / 1000)});
    });
    this.sliders.height.addEventListener("input", ({target}) => this.hand({height: target.value / 1000}));
    for (const kind of ["pointerdown", "pointermove"]) {
      this.field.addEventListener(kind, (event) => this.pointer(event));
    }
    for (const kind of ["pointerup", "pointercancel", "pointerleave"]) {
      this.field.addEventListener(kind, (event) => this.lifted(event));
    }
    this.told = 0;
    this.hand({});
  }
  pointer(event) {
    const box = this.field.getBoundingClientRect();
    const across = (event.clientX - box.left) / box.width;
    const up = 1 - (event.clientY - box.top) / box.height;
    this.fingers.set(event.pointerId, across);
    this.here = true;
    const distance = this.part.width * (1 - across) / (1 - RING_SHARE);
    if (across < RING_SHARE) this.hand({height: up});
    else if (this.fingers.size > 1) this.hand({distance});
    else this.hand({distance, height: up});
    event.preventDefault();
  }
  // A finger that is lifted, or a pointer that leaves: with the last one the volume hand goes down.
  lifted(event) {
    this.fingers.delete(event.pointerId);
    if (this.fingers.size === 0) {
      this.here = false;
      this.hand({});
    }
  }
  get gain() {
    const {gains} = this.part.volume;
    const place = Math.min(Math.max(this.height, 0), 1) * (gains.length - 1);
    const below = Math.min(Math.floor(place), gains.length - 2);
    return gains[below] + (place - below) * (gains[below + 1] - gains[below]);
  }
  hand({distance, height}) {
    const {nearest} = this.recipe.field;
    if (distance !== undefined) this.value = Math.min(Math.max(distance, nearest), this.part.width);
    if (height !== undefined) this.height = Math.min(Math.max(height, 0), 1);
    if (distance === undefined && height === undefined) height = this.height;
    else this.here = true;
    const {top} = this.part.volume;
    const texts = {
      distance: `${(100 * this.value).toFixed(1)} cm`,
      height: top === null ? `${Math.round(100 * this.height)} %` : `${(100 * top * this.height).toFixed(1)} cm`,
    };
    for (const [name, slider] of Object.entries(this.sliders)) {
      slider.value = name === "height" ? 1000 * this.height : 1000 * (1 - this.value / this.part.width);
      slider.setAttribute("aria-valuetext", texts[name]);
      slider.parentElement.querySelector("output").textContent = texts[name];
    }
    this.movedAt = engine.memory.count;
    if (this.playing) engine.order("move", this.value, this.here ? this.gain : 0);
    else if (this.picture && this.picture.recipe) this.draw();
  }
  start() {
    this.here = true;
    this.movedAt = engine.memory.count;
    engine.order("play", {recipe: 0, place: this.value, volume: this.gain});
  }
  settled() {
    return Math.max(engine.memory.count - this.movedAt - 6000, 0);
  }
  draw() {
    super.draw();
    this.drawField();
  }
  drawField() {
    const {field, part} = this;
    const pen = preparedPen(field, FIELD_HEIGHT, LOOK.paper);
    if (!pen) return;
    const wide = field.clientWidth;
    const left = RING_SHARE * wide;
    const x = (distance) => wide - (wide - left) * distance / part.width;
    pen.font = LOOK.small;
    pen.textAlign = "center";
    pen.textBaseline = "bottom";
    this.drawNotes(pen, x, left, wide);
    pen.fillStyle = LOOK.ink;
    pen.fillRect(wide - 4, 0, 4, FIELD_HEIGHT);
    pen.fillStyle = LOOK.grid;
    pen.fillRect(0, 0, left - 2, FIELD_HEIGHT);
    pen.strokeStyle = LOOK.ink;
    if (this.part.volume.top !== null) { // a design without a volume antenna has no ring: a plain gain
      pen.lineWidth = 4;
      pen.beginPath();
      pen.ellipse(0.5 * left, FIELD_HEIGHT - 16, 0.36 * left, 7, 0, 0, TURN);
      pen.stroke();
    }
    const y = (1 - this.height) * FIELD_HEIGHT;
    pen.fillStyle = LOOK.hand;
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.ellipse(0.5 * left, Math.min(Math.max(y, 8), FIELD_HEIGHT - 8), 0.34 * left, 8, 0, 0, TURN);
    pen.fill();
    pen.stroke();
    const tip = x(this.value);
    pen.beginPath();
    pen.ellipse(tip - 34, 0.5 * FIELD_HEIGHT, 34, 20, 0, 0, TURN);
    pen.fill();
    pen.stroke();
    pen.beginPath();
    pen.moveTo(tip, 26);
    pen.lineTo(tip, FIELD_HEIGHT);
    pen.stroke();
  }
  drawNotes(pen, x, left, wide) {
    const {part} = this;
    let last = Infinity;
    for (const [name, distance] of part.notes) {
      const at = x(distance);
      const octave = name.startsWith("C") && !name.includes("#");
      pen.strokeStyle = octave ? LOOK.quiet : LOOK.grid;
      pen.lineWidth = octave ? 2 : 1;
      pen.beginPath();
      pen.moveTo(at, 24);
      pen.lineTo(at, FIELD_HEIGHT);
      pen.stroke();
      if (octave && Math.abs(at - last) > 24 && at > left + 14 && at < wide - 14) {
        pen.fillStyle = LOOK.ink;
        pen.fillText(name, at, 20);
        last = at;
      }
    }
    if (part.zero !== null && x(part.zero) > left + 8) {
      pen.strokeStyle = LOOK.rows.second;
      pen.setLineDash([6, 5]);
      pen.lineWidth = 2;
      pen.beginPath();
      pen.moveTo(x(part.zero), 24);
      pen.lineTo(x(part.zero), FIELD_HEIGHT);
      pen.stroke();
      pen.setLineDash([]);
      pen.fillStyle = LOOK.ink;
      if (Math.abs(x(part.zero) - last) > 46) pen.fillText(WORDS.zeroBeat, Math.max(x(part.zero), left + 32), 20);
    }
  }
}
