"use strict";
// The moving picture: the two waves, their sum, the bent wave and the tone that is left, on one time axis.
// Its time runs `slow` times slower than that of the waves; where a wave is too fast to be drawn, the band that it
// fills is drawn instead.

const SCREEN_SECONDS = 4; // what the picture's width takes to pass, s on the screen
const ROW = {label: 17, wave: 44, gap: 7};
const GUTTER = {left: 46, right: 10, foot: 44};
const DENSE = 0.4; // cycles in a column of the picture, beyond which only the band is drawn

// The free difference that stands behind a sound: its value, or for an instrument that of the hand's distance.
function differenceOf(recipe, value) {
  return recipe.kind === "instrument" ? tableAt(recipe.field, value) : value;
}

function frequenciesOf(recipe, value) {
  const {first, second} = recipe.waves;
  const at = differenceOf(recipe, value);
  return [first[0] + first[1] * at, second[0] + second[1] * at];
}

// The tone behind the filter at a phase between the two waves; the table stands in synth/lessons/waves.py.
function filteredAt(recipe, phase) {
  const {bend, ratio, curvature} = recipe.waves;
  if (bend === "square") return curvature * ratio * Math.cos(phase);
  if (bend === "rectified") return envelopeAt(ratio, phase) / Math.PI;
  if (bend === "exponential") {
    const {drive} = recipe.waves;
    const reach = drive * envelopeAt(ratio, phase);
    return scaledBessel(reach) * Math.exp(reach - drive * (1 + ratio));
  }
  return ratio * Math.cos(phase);
}

function envelopeAt(ratio, phase) {
  return Math.sqrt(Math.max(1 + ratio * ratio + 2 * ratio * Math.cos(phase), 0));
}

// I0(x) exp(-x), I0 the modified Bessel function: its series, and for large x its expansion (handbook, from memory).
function scaledBessel(x) {
  if (x > 20) return (1 + 1 / (8 * x) + 9 / (128 * x * x) + 225 / (3072 * x ** 3)) / Math.sqrt(TURN * x);
  let term = 1;
  let sum = 1;
  for (let k = 1; k < 60; k++) {
    term *= (x / (2 * k)) ** 2;
    sum += term;
  }
  return sum * Math.exp(-x);
}

function bentAt(waves, one, two) {
  const sum = Math.cos(one) + waves.ratio * Math.cos(two);
  if (waves.bend === "square") return sum + waves.curvature * sum * sum;
  if (waves.bend === "rectified") return Math.max(sum, 0);
  if (waves.bend === "squared") return sum * sum;
  if (waves.bend === "exponential") return Math.exp(waves.drive * (sum - 1 - waves.ratio));
  return 2 * waves.ratio * Math.cos(one) * Math.cos(two);
}

function bentBand(waves, phase) {
  const size = envelopeAt(waves.ratio, phase);
  const c = waves.curvature;
  if (waves.bend === "square") return [2 * c * size > 1 ? -1 / (4 * c) : -size + c * size * size, size + c * size * size];
  if (waves.bend === "rectified") return [0, size];
  if (waves.bend === "squared") return [0, size * size];
  if (waves.bend === "exponential") return [-1, 1].map((side) => Math.exp(waves.drive * (side * size - 1 - waves.ratio)));
  return [waves.ratio * (Math.cos(phase) - 1), waves.ratio * (Math.cos(phase) + 1)];
}

// The rows of a picture: name, reach (lowest, highest), value at two phases, band at the phase between them.
function rowsOf(recipe) {
  const waves = recipe.waves;
  const {ratio, bend} = waves;
  const whole = 1 + ratio;
  const alone = {name: "first", reach: [-1, 1], at: (one) => Math.cos(one), band: () => [-1, 1], carrier: true};
  if (ratio === 0) return [alone];
  const rows = [
    alone,
    {name: "second", reach: [-1, 1], at: (one, two) => ratio * Math.cos(two), band: () => [-ratio, ratio], carrier: true},
    {
      name: "sum", reach: [-whole, whole], carrier: true,
      at: (one, two) => Math.cos(one) + ratio * Math.cos(two),
      band: (phase) => [-envelopeAt(ratio, phase), envelopeAt(ratio, phase)],
    },
  ];
  if (bend === "none") return rows;
  const top = bentBand(waves, 0)[1];
  const low = {square: Math.min(bentBand(waves, 0)[0], -1 / (4 * waves.curvature)), rectified: 0, squared: 0, exponential: 0, product: -2 * ratio}[bend];
  const tone = (phase) => filteredAt(recipe, phase);
  const [quiet, loud] = [tone(Math.PI), tone(0)];
  return [
    ...rows,
    {name: bend, reach: [low, top], at: (one, two) => bentAt(waves, one, two), band: (phase) => bentBand(waves, phase), carrier: true},
    {name: "filtered", reach: [Math.min(quiet, 0), loud], at: (one, two) => tone(one - two), band: (phase) => [tone(phase), tone(phase)]},
  ];
}

class Picture {
  constructor(canvas, words, look) {
    Object.assign(this, {canvas, words, look});
    this.slow = 1;
    this.beats = 0;
  }
  show(recipe, value) {
    if (this.recipe !== recipe) {
      this.recipe = recipe;
      this.rows = rowsOf(recipe);
      this.relation = new PulledPhase(recipe.waves.lock);
      this.relation.start(differenceOf(recipe, value));
      this.one = 0;
      this.time = 0;
      this.past = [];
    }
    this.value = value;
    this.height = this.rows.length * (ROW.label + ROW.wave + ROW.gap) + GUTTER.foot;
  }
  get span() {
    return SCREEN_SECONDS / this.slow;
  }
  // Turns of the phase between the waves, counted on.
  get difference() {
    return this.relation.turns + this.relation.phase / TURN;
  }
  // Let `seconds` pass on the screen; `heard`: the beat's phase in the loudspeaker, rad, where both run alike.
  step(seconds, value, heard) {
    this.value = value;
    const passed = seconds / this.slow;
    const [one, two] = frequenciesOf(this.recipe, value);
    this.one += one * passed;
    this.relation.step(one - two, passed);
    // a step of many turns: the phase is exact, the count of turns is made up for here
    const beat = pulledBeat(one - two, this.recipe.waves.lock);
    if (this.recipe.waves.lock > 0 && this.past.length) {
      const meant = this.past.at(-1).difference + beat * passed;
      this.relation.turns += Math.round(meant - this.difference);
    }
    if (heard !== undefined) {
      const off = (heard / TURN - this.difference) % 1;
      const phase = (off - Math.round(off)) * TURN + this.relation.phase;
      const turns = this.relation.turns + Math.floor(phase / TURN);
      this.relation.to(phase - TURN * Math.floor(phase / TURN));
      this.relation.turns = turns;
    }
    this.time += passed;
    this.past.push({time: this.time, one: this.one, difference: this.difference});
    const keep = this.time - 1.5 * this.span;
    while (this.past.length > 2 && (this.past[1].time < keep || this.past.length > 1500)) this.past.shift();
  }
  // Phases (turns) at times before now, later and later: [one, difference].
  phases() {
    const [one, two] = frequenciesOf(this.recipe, this.value);
    const beat = pulledBeat(one - two, this.recipe.waves.lock);
    const now = {time: this.time, one: this.one, difference: this.difference};
    const points = this.past.length ? this.past : [now];
    let at = 0;
    return (time) => {
      if (time <= points[0].time) {
        const back = time - points[0].time;
        return [points[0].one + one * back, points[0].difference + beat * back];
      }
      while (at < points.length - 2 && points[at + 1].time < time) at++;
      const low = points[at];
      const high = points[Math.min(at + 1, points.length - 1)];
      const share = high.time > low.time ? (time - low.time) / (high.time - low.time) : 0;
      return [low.one + share * (high.one - low.one), low.difference + share * (high.difference - low.difference)];
    };
  }
  draw() {
    const {canvas, look} = this;
    const pen = preparedPen(canvas, this.height, look.paper);
    if (!pen) return;
    const width = canvas.clientWidth - GUTTER.left - GUTTER.right;
    const [one, two] = frequenciesOf(this.recipe, this.value);
    const columns = this.sampled(width, one, one - two);
    this.rows.forEach((row, number) => this.drawRow(pen, row, number, width, columns));
    this.drawBeats(pen, width);
    this.drawTime(pen, width);
  }
  // Phases in each column of the picture, and whether the waves are too fast to be drawn there.
  sampled(width, carrier, difference) {
    const count = Math.floor(width);
    const column = this.span / count;
    const dense = Math.abs(carrier) * column > DENSE;
    const fine = dense ? (Math.abs(difference) * column > 0.05 ? 8 : 1) : Math.min(Math.max(Math.ceil(16 * carrier * column), 1), 8);
    const at = this.phases();
    const points = [];
    for (let k = 0; k <= count * fine; k++) points.push(at(this.time - this.span + (k / fine) * column));
    return {count, fine, dense, points};
  }
  drawRow(pen, row, number, width, {count, fine, dense, points}) {
    const {look} = this;
    const top = number * (ROW.label + ROW.wave + ROW.gap);
    const [low, high] = row.reach;
    const y = (value) => top + ROW.label + ROW.wave * (high - value) / (high - low);
    pen.font = look.small;
    pen.fillStyle = look.ink;
    pen.textAlign = "left";
    pen.textBaseline = "alphabetic";
    pen.fillText(this.labelOf(row, width), GUTTER.left, top + ROW.label - 5);
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    pen.fillStyle = look.quiet;
    for (const tick of low < 0 && high > 0 ? [high, 0, low] : [high, low]) {
      if (tick !== 0 && Math.abs(y(tick) - y(0)) < 11) continue;
      pen.fillText(shortNumber(tick), GUTTER.left - 6, y(tick));
    }
    pen.strokeStyle = look.grid;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(GUTTER.left, Math.round(y(0)) + 0.5);
    pen.lineTo(GUTTER.left + width, Math.round(y(0)) + 0.5);
    pen.stroke();
    const colour = look.rows[row.name];
    pen.strokeStyle = colour;
    pen.fillStyle = colour;
    pen.lineWidth = 1.6;
    if (row.carrier && dense) return this.drawBand(pen, row, y, count, fine, points);
    pen.beginPath();
    points.forEach(([one, difference], k) => {
      const value = row.at(TURN * (one - Math.floor(one)), TURN * (one - difference - Math.floor(one - difference)));
      pen.lineTo(GUTTER.left + k / fine, y(value));
    });
    pen.stroke();
    if (row.name === "sum" && !dense) this.drawEdges(pen, row, y, fine, points);
    return undefined;
  }
  drawBand(pen, row, y, count, fine, points) {
    pen.globalAlpha = 0.75;
    for (let x = 0; x < count; x++) {
      let lowest = Infinity;
      let highest = -Infinity;
      for (let k = x * fine; k <= (x + 1) * fine; k++) {
        const [least, most] = row.band(TURN * points[k][1]);
        lowest = Math.min(lowest, least);
        highest = Math.max(highest, most);
      }
      pen.fillRect(GUTTER.left + x, y(highest), 1, Math.max(y(lowest) - y(highest), 1));
    }
    pen.globalAlpha = 1;
  }
  drawEdges(pen, row, y, fine, points) {
    pen.setLineDash([4, 4]);
    pen.lineWidth = 1;
    for (const edge of [0, 1]) {
      pen.beginPath();
      for (let k = 0; k < points.length; k += Math.max(fine, 1)) {
        pen.lineTo(GUTTER.left + k / fine, y(row.band(TURN * points[k][1])[edge]));
      }
      pen.stroke();
    }
    pen.setLineDash([]);
  }
  // Beats are numbered where the waves push together, in the last row.
  drawBeats(pen, width) {
    const {look} = this;
    const at = this.phases();
    const from = this.time - this.span;
    const first = at(from)[1];
    const last = this.difference;
    const number = Math.abs(last - first);
    this.beats = Math.abs(last);
    if (number > width / 26 || number < 1e-6 || this.recipe.waves.ratio === 0) return;
    const bottom = this.height - GUTTER.foot - ROW.gap;
    pen.font = look.small;
    pen.fillStyle = look.ink;
    pen.strokeStyle = look.ink;
    pen.lineWidth = 1;
    pen.textAlign = "center";
    pen.textBaseline = "top";
    const [low, high] = [Math.min(first, last), Math.max(first, last)];
    for (let beat = Math.ceil(low); beat <= high; beat++) {
      const x = GUTTER.left + width * this.placeOf(beat, from);
      pen.beginPath();
      pen.moveTo(x, bottom - 4);
      pen.lineTo(x, bottom + 4);
      pen.stroke();
      const count = last > first ? beat : -beat;
      if (count > 0 && x > GUTTER.left + 8 && x < GUTTER.left + width - 8) pen.fillText(String(count), x, bottom + 5);
    }
  }
  placeOf(beat, from) {
    let [low, high] = [0, 1];
    const rising = this.difference > this.phases()(from)[1];
    for (let k = 0; k < 24; k++) {
      const middle = 0.5 * (low + high);
      if ((this.phases()(from + middle * this.span)[1] < beat) === rising) low = middle;
      else high = middle;
    }
    return low;
  }
  drawTime(pen, width) {
    const {look} = this;
    const y = this.height - 21;
    const [unit, scale] = this.span < 2e-3 ? ["µs", 1e6] : this.span < 2 ? ["ms", 1e3] : ["s", 1];
    const step = niceStep(this.span * scale / Math.max(width / 90, 2));
    pen.strokeStyle = look.quiet;
    pen.fillStyle = look.quiet;
    pen.lineWidth = 1;
    pen.textBaseline = "top";
    pen.font = look.small;
    pen.beginPath();
    pen.moveTo(GUTTER.left, y + 0.5);
    pen.lineTo(GUTTER.left + width, y + 0.5);
    for (let back = 0; back <= this.span * scale * 1.0001; back += step) {
      const x = GUTTER.left + width * (1 - back / (this.span * scale));
      pen.moveTo(x, y);
      pen.lineTo(x, y + 4);
      pen.textAlign = back === 0 ? "right" : x < GUTTER.left + 24 ? "left" : "center";
      const text = back === 0 ? this.words.now : `−${shortNumber(back)} ${unit}`;
      if (back === 0 || x < GUTTER.left + width - 60) pen.fillText(text, back === 0 ? x + 8 : x, y + 5);
    }
    pen.stroke();
  }
  labelOf(row, width) {
    const {words} = this;
    const [one, two] = frequenciesOf(this.recipe, this.value);
    const text = filled(words.rows[row.name], {first: frequencyText(one), second: frequencyText(two)});
    const kind = row.name === this.recipe.waves.bend ? "bent" : row.name;
    const heard = this.recipe.waves.ratio === 0 ? "first" : this.recipe.waves.heard;
    return kind === heard && width > 300 ? `${text} ${words.heard}` : text;
  }
}

// A pen on a canvas that fills its place, `height` px high, in px of the page; null where it is not shown.
function preparedPen(canvas, height, paper) {
  const wide = canvas.clientWidth;
  if (!wide) return null;
  const scale = window.devicePixelRatio || 1;
  const size = [Math.round(wide * scale), Math.round(height * scale)];
  if (canvas.style.height !== `${height}px`) canvas.style.height = `${height}px`;
  if (canvas.width !== size[0] || canvas.height !== size[1]) [canvas.width, canvas.height] = size;
  const pen = canvas.getContext("2d");
  pen.setTransform(scale, 0, 0, scale, 0, 0);
  pen.fillStyle = paper;
  pen.fillRect(0, 0, wide, height);
  return pen;
}

function niceStep(least) {
  const ten = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((k) => k * ten).find((step) => step >= least * 0.9999);
}

function shortNumber(value) {
  return String(Number(value.toPrecision(3))).replace("-", "−");
}

function frequencyText(frequency) {
  const size = Math.abs(frequency);
  if (size >= 2e4) return `${(size / 1e3).toFixed(3)} kHz`;
  return `${size >= 1000 ? size.toFixed(1) : size.toFixed(2)} Hz`;
}

function filled(text, fields) {
  return text.replace(/\{(\w+)\}/g, (_, name) => fields[name]);
}
