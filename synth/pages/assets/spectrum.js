"use strict";
// What is in the sound, measured while it plays: amplitude against frequency, or against time and frequency.

// In-place transform of 2^n complex values, radix 2.
function transform(re, im) {
  const size = re.length;
  for (let k = 1, j = 0; k < size; k++) {
    let bit = size >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (k < j) {
      [re[k], re[j]] = [re[j], re[k]];
      [im[k], im[j]] = [im[j], im[k]];
    }
  }
  for (let half = 1; half < size; half *= 2) {
    const turn = -Math.PI / half;
    for (let k = 0; k < half; k++) {
      const c = Math.cos(turn * k);
      const s = Math.sin(turn * k);
      for (let low = k; low < size; low += 2 * half) {
        const high = low + half;
        const r = re[high] * c - im[high] * s;
        const i = re[high] * s + im[high] * c;
        re[high] = re[low] - r;
        im[high] = im[low] - i;
        re[low] += r;
        im[low] += i;
      }
    }
  }
}

// Amplitudes of the lines in real samples (Blackman-Harris window, its side lobes below -92 dB): sizes of all bins.
function amplitudes(samples, size) {
  const re = new Float64Array(size);
  const im = new Float64Array(size);
  const count = samples.length;
  let total = 0;
  for (let k = 0; k < count; k++) {
    const turn = TURN * (k + 0.5) / count;
    const window = 0.35875 - 0.48829 * Math.cos(turn) + 0.14128 * Math.cos(2 * turn) - 0.01168 * Math.cos(3 * turn);
    total += window;
    re[k] = window * samples[k];
  }
  transform(re, im);
  const found = new Float64Array(size / 2);
  for (let k = 0; k < size / 2; k++) found[k] = 2 * Math.hypot(re[k], im[k]) / total;
  return found;
}

// The last samples that sounded.
class Memory {
  constructor(size) {
    this.ring = new Float32Array(size);
    this.count = 0;
  }
  add(samples) {
    for (const sample of samples) this.ring[this.count++ % this.ring.length] = sample;
  }
  clear() {
    this.count = 0;
  }
  last(wanted) {
    const some = Math.min(wanted, this.count, this.ring.length);
    const found = new Float32Array(some);
    for (let k = 0; k < some; k++) found[k] = this.ring[(this.count - some + k) % this.ring.length];
    return found;
  }
}

// Gain of a filter of first order at a frequency, Hz.
function gainOf([b0, b1, a1], frequency) {
  const turn = TURN * frequency / RATE;
  const above = Math.hypot(b0 + b1 * Math.cos(turn), b1 * Math.sin(turn));
  return above / Math.hypot(1 + a1 * Math.cos(turn), a1 * Math.sin(turn));
}

const CYCLE = 256; // points of one beat, from which its lines are read
const MOST_LINES = 24;

// Lines of a wave of the phase between two oscillators that pull each other, from one whole beat.
function cycleLines(recipe, offset, wave, gain) {
  const beat = Math.abs(pulledBeat(offset, recipe.lock));
  if (beat === 0) return [];
  const relation = new PulledPhase(recipe.lock);
  const samples = [];
  for (let k = 0; k < CYCLE; k++) {
    samples.push(wave(relation.phase));
    relation.step(offset, 1 / (beat * CYCLE));
  }
  const lines = [];
  for (let n = 1; n <= MOST_LINES; n++) {
    let re = 0;
    let im = 0;
    samples.forEach((sample, k) => {
      re += sample * Math.cos(TURN * n * k / CYCLE);
      im += sample * Math.sin(TURN * n * k / CYCLE);
    });
    lines.push([n * beat, 2 * Math.hypot(re, im) / CYCLE * gain(n * beat) * bandGain(n * beat, false)]);
  }
  return lines;
}

// The lines that a sound must hold while its value rests: [frequency, amplitude] each, as its recipe says.
function linesOf(recipe, value) {
  if (recipe.kind === "pulled") return cycleLines(recipe, value, Math.cos, () => 1);
  if (recipe.kind === "instrument") {
    const offset = tableAt(recipe.field, value);
    const {even, odd} = detectorRow(recipe.shape, offset);
    const wave = (phase) => seriesAt(even, odd, even.length, phase);
    return cycleLines(recipe, offset, wave, (frequency) => gainOf(recipe.tone, frequency) * gainOf(recipe.block, frequency));
  }
  const {first, second} = recipe;
  const [one, two] = [first[0] + first[1] * value, second[0] + second[1] * value];
  return recipe.parts.map(([p, q, amplitude]) => {
    const frequency = Math.abs(p * one + q * two);
    return [frequency, Math.abs(amplitude) * bandGain(frequency, recipe.slow)];
  });
}

const FLOOR_DB = -80;
const FRAME = {left: 46, right: 12, top: 26, foot: 36};

class FrequencyAxis {
  constructor(band) {
    this.band = band;
    this.logarithmic = band[1] > 5 * band[0];
  }
  place(frequency) {
    const [low, high] = this.band;
    return this.logarithmic ? Math.log(frequency / low) / Math.log(high / low) : (frequency - low) / (high - low);
  }
  ticks(room) {
    const [low, high] = this.band;
    const found = [];
    if (this.logarithmic) {
      const steps = room < 420 ? [1] : [1, 2, 5];
      for (let ten = 10 ** Math.floor(Math.log10(low)); ten <= high; ten *= 10) {
        for (const k of steps) if (k * ten >= low && k * ten <= high) found.push(k * ten);
      }
      return found;
    }
    const step = niceStep((high - low) / Math.max(room / 70, 2));
    for (let at = Math.ceil(low / step) * step; at <= high; at += step) found.push(at);
    return found;
  }
}

function hertz(frequency) {
  return frequency >= 1000 ? `${shortNumber(frequency / 1000)}k` : shortNumber(frequency);
}

class Spectrum {
  constructor(canvas, words, look, {band, size, claims = [], moving = false}) {
    Object.assign(this, {canvas, words, look, size, claims, moving});
    this.axis = new FrequencyAxis(band);
    this.height = 230;
    this.columns = [];
  }
  begin() {
    const {canvas, look} = this;
    const pen = preparedPen(canvas, this.height, look.paper);
    if (!pen) return null;
    const wide = canvas.clientWidth;
    pen.font = look.small;
    return {
      pen, wide, width: wide - FRAME.left - FRAME.right, deep: this.height - FRAME.top - FRAME.foot,
    };
  }
  // A spectrum with what is predicted in it. `found`: measured amplitudes or null; `lines` predicted.
  draw(found, rate, lines, time) {
    const room = this.begin();
    if (!room) return;
    const {pen, width, deep} = room;
    const {look, words} = this;
    const x = (frequency) => FRAME.left + width * this.axis.place(frequency);
    const y = (level) => FRAME.top + deep * Math.min(level / FLOOR_DB, 1);
    this.frequencyTicks(pen, width, deep, x);
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (let level = 0; level >= FLOOR_DB; level -= 20) {
      pen.strokeStyle = look.grid;
      pen.beginPath();
      pen.moveTo(FRAME.left, y(level));
      pen.lineTo(FRAME.left + width, y(level));
      pen.stroke();
      pen.fillStyle = look.quiet;
      pen.fillText(shortNumber(level), FRAME.left - 6, y(level));
    }
    pen.textAlign = "left";
    pen.fillText(words.level, 4, 8);
    if (found) this.measuredLine(pen, found, rate, x, y, width);
    const shown = lines.filter(([frequency, size]) => size > 0 && this.inBand(frequency));
    const strongest = Math.max(...lines.map(([, size]) => size), 1e-12);
    pen.strokeStyle = look.ink;
    pen.lineWidth = 1.5;
    for (const [frequency, size] of shown) {
      const level = 20 * Math.log10(size / strongest);
      if (level < FLOOR_DB) continue;
      pen.beginPath();
      pen.arc(x(frequency), y(level), 5, 0, TURN);
      pen.stroke();
    }
    for (const claim of this.claims) {
      if (claim.kind !== "absent" || !this.inBand(claim.frequency)) continue;
      if (time !== null && (time < claim.start || time > claim.end)) continue;
      const [at, level] = [x(claim.frequency), y(-60)];
      pen.beginPath();
      pen.moveTo(at - 5, level - 5);
      pen.lineTo(at + 5, level + 5);
      pen.moveTo(at - 5, level + 5);
      pen.lineTo(at + 5, level - 5);
      pen.stroke();
    }
  }
  inBand(frequency) {
    return frequency >= this.axis.band[0] && frequency <= this.axis.band[1];
  }
  frequencyTicks(pen, width, deep, x) {
    const {look, words} = this;
    pen.strokeStyle = look.quiet;
    pen.fillStyle = look.quiet;
    pen.lineWidth = 1;
    pen.textBaseline = "top";
    pen.beginPath();
    pen.moveTo(FRAME.left, FRAME.top + deep + 0.5);
    pen.lineTo(FRAME.left + width, FRAME.top + deep + 0.5);
    for (const frequency of this.axis.ticks(width)) {
      pen.moveTo(x(frequency), FRAME.top + deep);
      pen.lineTo(x(frequency), FRAME.top + deep + 4);
      pen.textAlign = x(frequency) > FRAME.left + width - 12 ? "right" : "center";
      pen.fillText(hertz(frequency), x(frequency) + (pen.textAlign === "right" ? 10 : 0), FRAME.top + deep + 5);
    }
    pen.stroke();
    pen.textAlign = "center";
    pen.fillText(words.frequency, FRAME.left + width / 2, FRAME.top + deep + 19);
  }
  measuredLine(pen, found, rate, x, y, width) {
    const {look} = this;
    const step = rate / (2 * found.length);
    const [low, high] = this.axis.band;
    let strongest = 1e-12;
    for (let k = Math.ceil(low / step); k < Math.min(high / step, found.length); k++) strongest = Math.max(strongest, found[k]);
    if (strongest < 1e-5) return;
    pen.strokeStyle = look.rows.sum;
    pen.lineWidth = 1.4;
    pen.beginPath();
    let column = -1;
    let most = 0;
    for (let k = Math.ceil(low / step); k < Math.min(high / step, found.length); k++) {
      const at = Math.floor(x(k * step));
      if (at !== column && column >= 0) {
        pen.lineTo(column, y(20 * Math.log10(Math.max(most / strongest, 1e-6))));
        most = 0;
      }
      column = at;
      most = Math.max(most, found[k]);
    }
    pen.stroke();
  }
  // A picture of time and frequency; `state`: {seconds, predicted(time)} of the whole stage.
  addColumn(found, rate, time) {
    this.columns.push({found, rate, time});
  }
  drawTimes(seconds, predicted, now) {
    const room = this.begin();
    if (!room) return;
    const {pen, width, deep} = room;
    const {look, words} = this;
    const x = (time) => FRAME.left + width * time / seconds;
    const y = (frequency) => FRAME.top + deep * (1 - this.axis.place(frequency));
    const cells = 90;
    const [low, high] = this.axis.band;
    let strongest = 1e-9;
    for (const {found} of this.columns) for (const size of found) strongest = Math.max(strongest, size);
    this.columns.forEach(({found, rate, time}, number) => {
      const next = this.columns[number + 1];
      const wide = Math.max(Math.min(next ? x(next.time) - x(time) : 3, 8), 1);
      const step = rate / (2 * found.length);
      for (let cell = 0; cell < cells; cell++) {
        const from = this.axis.logarithmic ? low * (high / low) ** (cell / cells) : low + (high - low) * cell / cells;
        const to = this.axis.logarithmic ? low * (high / low) ** ((cell + 1) / cells) : low + (high - low) * (cell + 1) / cells;
        let most = 0;
        for (let k = Math.floor(from / step); k <= Math.max(Math.floor(to / step), Math.floor(from / step)); k++) most = Math.max(most, found[k] || 0);
        const level = 20 * Math.log10(Math.max(most / strongest, 1e-6));
        if (level < -50) continue;
        pen.globalAlpha = (level + 50) / 50;
        pen.fillStyle = look.rows.sum;
        pen.fillRect(x(time), y(to), wide + 0.5, y(from) - y(to) + 0.5);
      }
    });
    pen.globalAlpha = 1;
    pen.fillStyle = look.ink;
    for (let time = 0.05; time < seconds; time += seconds / Math.max(width / 9, 10)) {
      for (const [frequency, size] of predicted(time)) {
        if (size > 0.003 && this.inBand(frequency)) pen.fillRect(x(time), y(frequency) - 1, 3, 2);
      }
    }
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    pen.fillStyle = look.quiet;
    for (const frequency of this.axis.ticks(300)) pen.fillText(hertz(frequency), FRAME.left - 6, y(frequency));
    pen.textAlign = "left";
    pen.fillText(words.frequency, 4, 8);
    pen.textBaseline = "top";
    const step = niceStep(seconds / Math.max(width / 70, 2));
    for (let time = 0; time <= seconds; time += step) {
      pen.textAlign = time === 0 ? "left" : "center";
      pen.fillText(shortNumber(time), x(time), FRAME.top + deep + 5);
    }
    pen.textAlign = "center";
    pen.fillText(words.time, FRAME.left + width / 2, FRAME.top + deep + 19);
    pen.strokeStyle = look.ink;
    pen.lineWidth = 1;
    pen.strokeRect(FRAME.left + 0.5, FRAME.top + 0.5, width - 1, deep);
    if (now !== null) {
      pen.beginPath();
      pen.moveTo(x(now), FRAME.top);
      pen.lineTo(x(now), FRAME.top + deep);
      pen.stroke();
    }
  }
}
