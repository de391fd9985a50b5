"use strict";
// The sounds of a page, computed sample by sample: what synth/lessons/recipes.py and synth/sound/strand.py compute.
// This text runs twice: in the page, which draws by it, and in the audio thread, which plays by it.
//
// A sound has begin(value), run(values, out, frames), and after each run beat (Hz, signed) and phase (of the beat, rad).

const TURN = 2 * Math.PI;
const BAND = {full: 20000, silent: 22000, slowest: 8, slow: 20}; // Hz: fades at the ends of what is heard
const CHANGE_TIME = 0.02; // s: from one sound to the next
const OPEN_TIME = 0.008; // s: start and stop
const HAND_TIME = 0.005; // s: pole on the value of a stage, as in the sound file
const SLIDER_TIME = 0.02; // s: pole on a slider, which comes in steps
const PAUSE_FADE = 0.02; // s: the end of a passage before another

function bandGain(frequency, slowToo) {
  const size = Math.abs(frequency);
  let gain = 1;
  if (size > BAND.full) {
    if (size >= BAND.silent) return 0;
    gain = Math.cos(0.5 * Math.PI * (size - BAND.full) / (BAND.silent - BAND.full)) ** 2;
  }
  if (slowToo && size < BAND.slow) {
    if (size <= BAND.slowest) return 0;
    gain *= Math.sin(0.5 * Math.PI * (size - BAND.slowest) / (BAND.slow - BAND.slowest)) ** 2;
  }
  return gain;
}

// y[n] = b0 x[n] + b1 x[n-1] - a1 y[n-1]
class FirstOrder {
  constructor([b0, b1, a1]) {
    Object.assign(this, {b0, b1, a1, entered: 0, left: 0});
  }
  settle(entered, left) {
    this.entered = entered;
    this.left = left;
  }
  step(x) {
    const y = this.b0 * x + this.b1 * this.entered - this.a1 * this.left;
    this.entered = x;
    this.left = Math.abs(y) < 1e-30 ? 0 : y;
    return y;
  }
}

// Beat of oscillators `offset` Hz apart if free that lock within `lock` Hz (Adler 1946): 0 where locked.
function pulledBeat(offset, lock) {
  const size = Math.abs(offset);
  return size <= lock ? 0 : Math.sign(offset) * Math.sqrt(size - lock) * Math.sqrt(size + lock);
}

// The phase between two oscillators that pull each other: d(phi)/dt = dw - wL sin(phi). With tan(phi/2) = p/q it is
// linear in (q, p), so one step at a steady offset is exact.
class PulledPhase {
  constructor(lock) {
    this.lock = lock;
    this.start(0);
  }
  start(offset) {
    this.to(Math.abs(offset) < this.lock ? Math.asin(offset / this.lock) : 0);
  }
  to(phase) {
    this.phase = phase;
    this.turns = 0;
    this.q = Math.cos(0.5 * phase);
    this.p = Math.sin(0.5 * phase);
  }
  step(offset, time) {
    const before = this.phase;
    if (this.lock === 0) {
      this.phase += TURN * offset * time;
      const whole = Math.floor(this.phase / TURN);
      this.phase -= TURN * whole;
      this.turns += whole;
      return this.phase;
    }
    const a = Math.PI * this.lock * time;
    const b = Math.PI * offset * time;
    const square = a * a - b * b;
    const root = Math.sqrt(Math.abs(square));
    const even = square > 0 ? Math.cosh(root) : Math.cos(root);
    const odd = root < 1e-9 ? 1 : (square > 0 ? Math.sinh(root) : Math.sin(root)) / root;
    const q = even * this.q + odd * (a * this.q - b * this.p);
    const p = even * this.p + odd * (b * this.q - a * this.p);
    const length = Math.hypot(q, p);
    this.q = q / length;
    this.p = p / length;
    this.phase = 2 * Math.atan2(this.p, this.q);
    if (this.phase < 0) this.phase += TURN;
    const moved = this.phase - before;
    if (moved > Math.PI) this.turns -= 1;
    else if (moved < -Math.PI) this.turns += 1;
    return this.phase;
  }
}

// Two tones whose frequencies follow the value, and what becomes of them at their phases (turns).
class PairSound {
  constructor(recipe, rate) {
    this.recipe = recipe;
    this.rate = rate;
    this.begin(0);
  }
  begin(value) {
    this.value = value;
    this.one = this.two = 0;
    this.beat = this.phase = 0;
  }
  frequencies(value) {
    const {first, second} = this.recipe;
    return [first[0] + first[1] * value, second[0] + second[1] * value];
  }
  run(values, out, frames) {
    for (let k = 0; k < frames; k++) {
      const [one, two] = this.frequencies(0.5 * (this.value + values[k]));
      this.value = values[k];
      this.one += one / this.rate;
      this.two += two / this.rate;
      this.one -= Math.floor(this.one);
      this.two -= Math.floor(this.two);
      out[k] = this.recipe.gain * this.sample();
    }
    const [one, two] = this.frequencies(this.value);
    const alone = this.recipe.beatOf === "first";
    this.beat = alone ? one : one - two;
    this.phase = TURN * (alone ? this.one : this.one - this.two);
  }
}

// Lines at p f1 + q f2 of two tones.
class MixtureSound extends PairSound {
  sample() {
    const [one, two] = this.frequencies(this.value);
    let y = 0;
    for (const [p, q, amplitude] of this.recipe.parts) {
      const open = bandGain(p * one + q * two, this.recipe.slow);
      if (open > 0) y += amplitude * open * Math.cos(TURN * (p * this.one + q * this.two));
    }
    return y;
  }
}

// Two tones added, the positive half kept: E (1/pi + cos a/2 + (2/pi) sum of (-1)^(k+1) cos 2ka / (4k^2 - 1)).
class RectifiedSound extends PairSound {
  sample() {
    const {ratio, pairs, steady} = this.recipe;
    const re = Math.cos(TURN * this.one) + ratio * Math.cos(TURN * this.two);
    const im = Math.sin(TURN * this.one) + ratio * Math.sin(TURN * this.two);
    const turn = Math.atan2(im, re);
    let series = 1 / Math.PI + 0.5 * Math.cos(turn);
    for (let order = 1; order <= pairs; order++) {
      series += (order % 2 ? 1 : -1) * (2 / Math.PI) / (4 * order * order - 1) * Math.cos(2 * order * turn);
    }
    return Math.hypot(re, im) * series - steady;
  }
}

// A balanced mixer behind two oscillators whose free difference is the value.
class PulledSound {
  constructor(recipe, rate) {
    this.recipe = recipe;
    this.rate = rate;
    this.relation = new PulledPhase(recipe.lock);
    this.filter = new FirstOrder(recipe.block);
    this.begin(0);
  }
  begin(value) {
    this.value = value;
    this.relation.to(Math.abs(value) < this.recipe.lock ? Math.asin(value / this.recipe.lock) : 0.5 * Math.PI);
    this.filter.settle(Math.cos(this.relation.phase), 0);
    this.beat = 0;
  }
  run(values, out, frames) {
    for (let k = 0; k < frames; k++) {
      this.relation.step(0.5 * (this.value + values[k]), 1 / this.rate);
      this.value = values[k];
      out[k] = this.recipe.gain * this.filter.step(Math.cos(this.relation.phase));
    }
    this.phase = this.relation.phase;
    this.beat = pulledBeat(this.value, this.recipe.lock);
  }
}

// A table over the logarithm of a distance, straight between its points.
function tableAt(table, distance) {
  const last = table.points.length - 1;
  const place = Math.min(Math.max(Math.log(distance / table.nearest) / table.step, 0), last);
  const below = Math.min(Math.floor(place), last - 1);
  return table.points[below] + (place - below) * (table.points[below + 1] - table.points[below]);
}

// The detector's coefficients at an offset, Hz: one row for all, or between the two rows that the offset lies between.
function detectorRow(shape, offset) {
  const width = shape.width;
  if (!shape.offsets) return {even: shape.even, odd: null};
  const at = shape.mirrored ? Math.abs(offset) : offset;
  const offsets = shape.offsets;
  let low = 0;
  let high = offsets.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (offsets[middle] <= at) low = middle;
    else high = middle;
  }
  const share = Math.min(Math.max((at - offsets[low]) / (offsets[high] - offsets[low]), 0), 1);
  const even = new Float64Array(width);
  const odd = new Float64Array(width);
  const sign = shape.mirrored && offset < 0 ? -1 : 1;
  for (let n = 0; n < width; n++) {
    even[n] = (1 - share) * shape.even[low * width + n] + share * shape.even[high * width + n];
    odd[n] = sign * ((1 - share) * shape.odd[low * width + n] + share * shape.odd[high * width + n]);
  }
  return {even, odd};
}

// sum over n >= 1 of even[n-1] cos(n phi) - odd[n-1] sin(n phi), by Clenshaw's recurrence.
function seriesAt(even, odd, count, phase) {
  const c = Math.cos(phase);
  let e1 = 0, e2 = 0, o1 = 0, o2 = 0;
  for (let n = count - 1; n >= 0; n--) {
    const e0 = even[n] + 2 * c * e1 - e2;
    e2 = e1;
    e1 = e0;
    if (odd) {
      const o0 = odd[n] + 2 * c * o1 - o2;
      o2 = o1;
      o1 = o0;
    }
  }
  return c * e1 - e2 - (odd ? o1 * Math.sin(phase) : 0);
}

// An instrument; the value is the hand's distance, m.
class InstrumentSound {
  constructor(recipe, rate) {
    this.recipe = recipe;
    this.rate = rate;
    this.relation = new PulledPhase(recipe.lock);
    this.low = new FirstOrder(recipe.tone);
    this.high = new FirstOrder(recipe.block);
    this.begin(recipe.field.nearest);
  }
  begin(distance) {
    this.offset = tableAt(this.recipe.field, distance);
    this.relation.start(this.offset);
    this.beat = pulledBeat(this.offset, this.recipe.lock);
    this.row = this.rowAt();
    if (Math.abs(this.beat) < 20) {
      const resting = seriesAt(this.row.even, this.row.odd, this.row.even.length, this.relation.phase);
      this.low.settle(resting, resting);
      this.high.settle(resting, 0);
    }
  }
  rowAt() {
    const {even, odd} = detectorRow(this.recipe.shape, this.offset);
    const fading = even.map((a, n) => a * bandGain((n + 1) * this.beat, false));
    return {even: fading, odd: odd && odd.map((b, n) => b * bandGain((n + 1) * this.beat, false))};
  }
  run(values, out, frames) {
    const before = this.row;
    const start = this.offset;
    const last = tableAt(this.recipe.field, values[frames - 1]);
    const moving = last !== start;
    if (moving) {
      this.offset = last;
      this.beat = pulledBeat(last, this.recipe.lock);
      this.row = this.rowAt();
    }
    let previous = start;
    for (let k = 0; k < frames; k++) {
      const offset = moving ? tableAt(this.recipe.field, values[k]) : start;
      const phase = this.relation.step(0.5 * (previous + offset), 1 / this.rate);
      previous = offset;
      let y = seriesAt(this.row.even, this.row.odd, this.row.even.length, phase);
      if (moving) {
        const old = seriesAt(before.even, before.odd, before.even.length, phase);
        y = old + (k + 1) / frames * (y - old);
      }
      out[k] = this.recipe.gain * this.high.step(this.low.step(y));
    }
    this.phase = this.relation.phase;
  }
}

const SOUNDS = {
  mixture: MixtureSound, rectified: RectifiedSound, pulled: PulledSound, instrument: InstrumentSound,
};

function makeSound(recipe, rate) {
  return new SOUNDS[recipe.kind](recipe, rate);
}

// The value that a place between 0 (left) and 1 (right) of an axis stands for.
function axisValue(axis, place) {
  return axis.logarithmic ? axis.left * (axis.right / axis.left) ** place : axis.left + (axis.right - axis.left) * place;
}

function axisPlace(axis, value) {
  const {left, right} = axis;
  return axis.logarithmic ? Math.log(value / left) / Math.log(right / left) : (value - left) / (right - left);
}

// The value of a course at a time, s.
function courseAt({instants, values, evenPitch}, time) {
  let at = 0;
  while (at < instants.length - 2 && instants[at + 1] <= time) at++;
  const share = Math.min(Math.max((time - instants[at]) / (instants[at + 1] - instants[at]), 0), 1);
  if (evenPitch) return values[at] * (values[at + 1] / values[at]) ** share;
  return values[at] + share * (values[at + 1] - values[at]);
}

// One sound that follows a slider, or the passages of a stage; a change from one to the next crosses over.
class Player {
  constructor(rate, recipes) {
    this.rate = rate;
    this.recipes = recipes;
    this.track = null;
    this.leaving = null;
    this.values = new Float64Array(4096);
    this.mix = new Float64Array(4096);
  }
  play({recipe, axis, place, volume = 1}) {
    const sound = makeSound(this.recipes[recipe], this.rate);
    const at = axis ? axisValue(axis, place) : place;
    sound.begin(at);
    this.change({sound, axis, place, target: place, volume, wanted: volume, value: at, pole: SLIDER_TIME, gain: 1});
  }
  perform({passages, gain, pause, from = 0}) {
    this.change({passages, gain, pause, time: from, number: -1, sound: null, pole: HAND_TIME, volume: 1, value: 0});
  }
  change(track) {
    track.open = 0;
    if (this.track) this.leaving = {...this.track, closing: 1, step: 1 / (CHANGE_TIME * this.rate)};
    track.step = 1 / ((this.track ? CHANGE_TIME : OPEN_TIME) * this.rate);
    this.track = track;
  }
  move(place, volume) {
    if (!this.track || this.track.passages) return;
    if (place !== undefined) this.track.target = place;
    if (volume !== undefined) this.track.wanted = volume;
  }
  stop() {
    if (this.track) this.leaving = {...this.track, closing: 1, step: 1 / (OPEN_TIME * this.rate)};
    this.track = null;
  }
  render(out, frames) {
    out.fill(0, 0, frames);
    if (this.leaving) {
      const leaving = this.leaving;
      this.runTrack(leaving, frames);
      for (let k = 0; k < frames; k++) {
        leaving.closing = Math.max(leaving.closing - leaving.step, 0);
        out[k] += leaving.closing ** 2 * (3 - 2 * leaving.closing) * this.mix[k];
      }
      if (leaving.closing === 0) this.leaving = null;
    }
    if (this.track) {
      const track = this.track;
      this.runTrack(track, frames);
      for (let k = 0; k < frames; k++) {
        track.open = Math.min(track.open + track.step, 1);
        out[k] += track.open ** 2 * (3 - 2 * track.open) * this.mix[k];
      }
      if (track.ended) this.track = null;
    }
  }
  runTrack(track, frames) {
    this.mix.fill(0, 0, frames);
    if (track.passages) this.runPassages(track, frames);
    else this.runLive(track, frames);
  }
  runLive(track, frames) {
    const keep = Math.exp(-1 / (track.pole * this.rate));
    const start = track.volume;
    for (let k = 0; k < frames; k++) {
      track.place = keep * track.place + (1 - keep) * track.target;
      if (Math.abs(track.place - track.target) < 1e-9) track.place = track.target;
      this.values[k] = track.axis ? axisValue(track.axis, track.place) : track.place;
    }
    track.value = this.values[frames - 1];
    track.sound.run(this.values, this.mix, frames);
    track.volume = track.wanted + (start - track.wanted) * keep ** frames;
    if (Math.abs(track.volume - track.wanted) < 1e-6) track.volume = track.wanted;
    if (start === 1 && track.volume === 1) return;
    for (let k = 0; k < frames; k++) this.mix[k] *= track.wanted + (start - track.wanted) * keep ** (k + 1);
  }
  runPassages(track, frames) {
    const keep = Math.exp(-1 / (track.pole * this.rate));
    for (let k = 0; k < frames;) {
      const {number, into, left} = this.passageAt(track);
      if (number === track.passages.length) {
        track.ended = true;
        return;
      }
      const some = Math.min(frames - k, 128, Math.max(Math.round(left * this.rate), 1));
      const passage = track.passages[number];
      if (into >= 0) this.runPassage(track, number, passage, into, some, k, keep);
      track.time += some / this.rate;
      k += some;
    }
  }
  // Which passage sounds, how far it has gone (below 0: the pause before it) and how long that goes on, s.
  passageAt(track) {
    let begin = 0;
    for (let number = 0; number < track.passages.length; number++) {
      const end = begin + track.passages[number].instants.at(-1);
      if (track.time < begin - 0.5 / this.rate) return {number, into: -1, left: begin - track.time};
      if (track.time < end - 0.5 / this.rate) return {number, into: Math.max(track.time - begin, 0), left: end - track.time};
      begin = end + track.pause;
    }
    return {number: track.passages.length};
  }
  runPassage(track, number, passage, into, some, at, keep) {
    if (track.number !== number) {
      track.sound = makeSound(this.recipes[passage.recipe], this.rate);
      track.value = courseAt(passage, into);
      track.sound.begin(track.value);
      track.number = number;
    }
    const length = passage.instants.at(-1);
    for (let k = 0; k < some; k++) {
      track.value = keep * track.value + (1 - keep) * courseAt(passage, into + k / this.rate);
      this.values[k] = track.value;
    }
    const piece = this.mix.subarray(at, at + some);
    track.sound.run(this.values, piece, some);
    track.into = into + some / this.rate;
    for (let k = 0; k < some; k++) {
      const time = into + k / this.rate;
      let gain = track.gain * Math.min(time / OPEN_TIME, 1);
      if (passage.volumes) {
        track.volume = keep * track.volume
          + (1 - keep) * courseAt({instants: passage.instants, values: passage.volumes}, time);
        gain *= track.volume;
      }
      const end = (length - time) / PAUSE_FADE;
      piece[k] *= end < 1 ? gain * Math.sin(0.5 * Math.PI * Math.max(end, 0)) ** 2 : gain;
    }
  }
  // What the picture follows: value, beat and its phase, and how far a stage has gone.
  report() {
    const track = this.track;
    if (!track || !track.sound) return null;
    const {beat, phase} = track.sound;
    return {value: track.value, beat, phase, volume: track.volume, number: track.number, time: track.time};
  }
}
