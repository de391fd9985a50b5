"use strict";
// The page at work: the sound and its level, the stations with their pictures, sliders and buttons.

const RATE = 48000;
const QUIET_DB = -20; // the listening level at first, dB under the loudest

function byId(id) {
  return document.getElementById(id);
}

// Numbers that travel as base64 become arrays again.
function unpacked(data) {
  if (Array.isArray(data)) return data.map(unpacked);
  if (data === null || typeof data !== "object") return data;
  if (typeof data.f64 === "string") {
    return new Float64Array(Uint8Array.from(atob(data.f64), (letter) => letter.charCodeAt(0)).buffer);
  }
  return Object.fromEntries(Object.entries(data).map(([key, value]) => [key, unpacked(value)]));
}

const DATA = unpacked(JSON.parse(byId("data").textContent));
const WORDS = DATA.words;

const LOOK = (() => {
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(`--${name}`).trim();
  const rows = {
    first: colour("blue"), second: colour("vermillion"), sum: colour("ink-wave"), square: colour("green"),
    rectified: colour("green"), product: colour("green"), squared: colour("green"), exponential: colour("green"), filtered: colour("purple"),
  };
  return {
    paper: colour("card"), ink: colour("ink"), quiet: colour("quiet"), grid: colour("grid"), rows,
    hand: colour("hand"), small: `12px ${style.getPropertyValue("--face")}`,
  };
})();

// The same text that the page runs, with the audio thread's part after it, as an address without a file.
function workletAddress() {
  const text = byId("sound-code").textContent + byId("worklet-code").textContent;
  return `data:text/javascript;charset=utf-8,${encodeURIComponent(text)}`;
}

// Whether the audio thread takes our part: some browsers refuse it to a page that was opened as a file.
async function hasWorklet(context) {
  if (!context.audioWorklet) return false;
  try {
    await context.audioWorklet.addModule(workletAddress());
    return true;
  } catch {
    return false;
  }
}

// A node that plays `orders` in an audio context: in the audio thread, or in this one where there is none.
async function playerNode(context, orders = []) {
  if (await hasWorklet(context)) {
    const processorOptions = {recipes: DATA.recipes, orders};
    return new AudioWorkletNode(context, "beatfield", {numberOfInputs: 0, outputChannelCount: [1], processorOptions});
  }
  const player = new Player(context.sampleRate, DATA.recipes);
  for (const {order, with: given} of orders) player[order](...given);
  const node = context.createScriptProcessor(1024, 0, 1);
  node.port = {postMessage: ({order, with: given}) => player[order](...given)};
  node.onaudioprocess = ({outputBuffer, playbackTime}) => {
    const samples = new Float64Array(1024);
    player.render(samples, 1024);
    outputBuffer.copyToChannel(Float32Array.from(samples), 0);
    const time = playbackTime + 1024 / context.sampleRate;
    node.port.onmessage({data: {samples: Float32Array.from(samples), time, state: player.report()}});
  };
  return node;
}

class Engine {
  constructor() {
    this.memory = new Memory(1 << 18);
    this.report = null;
    this.user = null; // the station that plays
    this.level = QUIET_DB;
  }
  async start() {
    if (!this.context) {
      this.context = new AudioContext({sampleRate: RATE, latencyHint: "interactive"});
      this.gain = this.context.createGain();
      this.gain.connect(this.context.destination);
      this.setLevel(this.level);
      this.node = await playerNode(this.context);
      this.node.port.onmessage = ({data}) => this.take(data);
      this.node.connect(this.gain);
    }
    await this.context.resume();
  }
  take({samples, time, state}) {
    this.memory.add(samples);
    const ended = this.report && this.report.state && !state;
    this.report = {time, state};
    if (ended && this.user) this.user.ended();
  }
  setLevel(decibels) {
    this.level = decibels;
    if (this.gain) this.gain.gain.setTargetAtTime(10 ** (decibels / 20), this.context.currentTime, 0.02);
  }
  order(order, ...given) {
    this.node.port.postMessage({order, with: given});
  }
  async use(station) {
    await this.start();
    if (this.user && this.user !== station) this.user.halted();
    if (this.user !== station) this.memory.clear();
    this.report = null;
    this.user = station;
  }
  stop() {
    if (this.user) this.user.halted();
    this.user = null;
    this.report = null;
    if (this.node) this.order("stop");
  }
  // The time of what leaves the loudspeaker now, s.
  get heardTime() {
    return this.context.currentTime - (this.context.outputLatency || this.context.baseLatency || 0);
  }
}

const engine = new Engine();

// Before the first sound the caution is shown; the sound starts when it is answered.
function cautioned() {
  const box = byId("caution-box");
  if (engine.context) return Promise.resolve(true);
  return new Promise((resolve) => {
    box.addEventListener("close", () => resolve(box.returnValue === "start"), {once: true});
    box.returnValue = "";
    box.showModal();
  });
}

const still = window.matchMedia("(prefers-reduced-motion: reduce)");

function noteText(frequency) {
  if (frequency < 16) return WORDS.noNote;
  const number = 69 + 12 * Math.log2(frequency / DATA.referenceA);
  const nearest = Math.round(number);
  const names = ["C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B"];
  const off = Math.round(100 * (number - nearest));
  const sign = off < 0 ? "−" : "+";
  return `${names[((nearest % 12) + 12) % 12]}${Math.floor(nearest / 12) - 1} ${sign}${Math.abs(off)} ct`;
}

function timesText(number) {
  if (number < 10) return String(Number(number.toFixed(1)));
  return Number(number.toPrecision(2)).toLocaleString("en").replace(/,/g, "\u202f");
}

class Station {
  constructor(part) {
    Object.assign(this, {part, playing: false, number: 0});
    this.root = byId(part.id);
    this.button = this.root.querySelector(".play");
    this.picture = new Picture(this.root.querySelector(".waves"), WORDS, LOOK);
    const canvas = this.root.querySelector(".spectrum");
    this.spectrum = canvas && new Spectrum(canvas, WORDS, LOOK, part.spectrum);
    const above = this.root.querySelector(".above");
    this.above = above && new HandView(above, WORDS, LOOK);
    this.slowing = this.root.querySelector(".slowing");
    this.button.addEventListener("click", () => this.toggle());
    this.slowing.addEventListener("input", () => this.slowed());
    this.setUp();
    this.show();
    this.slowing.value = this.slowPlace(part.slow);
    this.slowed();
  }
  setUp() {}
  get waves() {
    return this.recipe.waves;
  }
  get lineSize() {
    return 1 << this.part.spectrum.size;
  }
  // The slider of slowing runs evenly in the logarithm, from the sound's own time to waves that can be counted.
  get mostSlow() {
    return Math.max(frequenciesOf(this.recipe, this.value)[0], 100 * this.waves.slowed);
  }
  slowPlace(slow) {
    return 1000 * Math.log(slow / this.waves.slowed) / Math.log(this.mostSlow / this.waves.slowed);
  }
  slowed() {
    const share = Number(this.slowing.value) / 1000;
    const slow = this.waves.slowed * (this.mostSlow / this.waves.slowed) ** share;
    this.picture.slow = share === 0 ? this.waves.slowed : slow;
    const against = this.picture.slow / this.waves.slowed;
    const words = {waves: timesText(this.picture.slow), sound: timesText(against)};
    const text = filled(against === 1 ? (this.waves.slowed === 1 ? WORDS.inTime : WORDS.inTimeSlowed) : WORDS.slowedBy, words);
    this.root.querySelector(".slowed").textContent = text;
    this.slowing.setAttribute("aria-valuetext", text);
    this.draw();
  }
  async toggle() {
    if (this.playing) return engine.stop();
    if (!(await cautioned())) return undefined;
    await engine.use(this);
    this.playing = true;
    this.button.setAttribute("aria-pressed", "true");
    if (this.spectrum) this.spectrum.columns = [];
    this.start();
    this.lastFrame = performance.now();
    requestAnimationFrame((now) => this.frame(now));
    return undefined;
  }
  halted() {
    this.playing = false;
    this.button.setAttribute("aria-pressed", "false");
  }
  ended() {
    engine.user = null;
    this.halted();
  }
  follow() {}
  frame(now) {
    if (!this.playing) return this.draw();
    const passed = Math.min((now - this.lastFrame) / 1000, 0.1);
    const rare = still.matches && now - (this.lastStill || 0) < 1000;
    this.lastFrame = now;
    const report = engine.report;
    if (report && report.state) this.follow(report);
    this.show();
    let heard;
    if (this.picture.slow === this.waves.slowed && report && report.state) {
      heard = report.state.phase + TURN * report.state.beat * (engine.heardTime - report.time);
    }
    this.picture.step(passed, this.value, heard);
    if (!rare) {
      this.lastStill = now;
      this.draw();
      this.measure(now, report);
    }
    requestAnimationFrame((next) => this.frame(next));
    return undefined;
  }
  measure(now, report) {
    if (!this.spectrum) return;
    if (this.spectrum.moving) {
      const samples = engine.memory.last(4096);
      if (samples.length === 4096 && report && report.state) {
        this.spectrum.addColumn(amplitudes(samples, 4096), RATE, Math.max(report.state.time - 0.04, 0));
        this.drawSpectrum(null);
      }
    } else if (now - (this.measured || 0) > 250) {
      this.measured = now;
      const samples = engine.memory.last(Math.min(this.lineSize, this.settled()));
      this.drawSpectrum(samples.length > 4000 ? amplitudes(samples, this.lineSize) : null);
    }
  }
  // How many of the last samples hold the value that rests now.
  settled() {
    return this.lineSize;
  }
  draw() {
    this.picture.show(this.recipe, this.value);
    this.picture.draw();
    if (this.above) this.above.draw(this.recipe, this.value);
    this.readouts();
    if (!this.playing) this.drawSpectrum(null);
  }
  drawSpectrum(found) {
    if (!this.spectrum) return;
    this.spectrum.draw(found, RATE, linesOf(this.recipe, this.value), this.playing ? this.stageTime : null);
  }
  show() {
    this.picture.show(this.recipe, this.value);
  }
  readouts() {
    const [one, two] = frequenciesOf(this.recipe, this.value);
    const beat = this.waves.ratio === 0 ? 0 : Math.abs(pulledBeat(one - two, this.waves.lock));
    const found = {
      first: frequencyText(one), second: this.waves.ratio === 0 ? WORDS.noNote : frequencyText(two),
      beat: beat < 100 ? beat.toFixed(2) : beat.toFixed(1),
      note: noteText(beat),
      counted: String(Math.floor(this.picture.beats)),
    };
    if (this.recipe.kind === "instrument") {
      found.distance = `${(100 * this.value).toFixed(1)} cm`;
      found.reference = found.first;
      found.variable = found.second;
      found.added = `${(1e12 * tableAt(this.recipe.capacitance, this.value)).toFixed(3)} pF`;
    }
    for (const slot of this.root.querySelectorAll("[data-figure]")) {
      const text = found[slot.dataset.figure];
      if (text !== undefined && slot.textContent !== text) slot.textContent = text;
    }
    const now = performance.now();
    if (now - (this.told || 0) > 1000) {
      this.told = now;
      const words = {first: found.first, second: found.second, beat: found.beat};
      this.picture.canvas.setAttribute("aria-label", filled(WORDS.pictureNow, words));
    }
  }
}

// A stage: passages with a set course.
class StageStation extends Station {
  setUp() {
    this.stageTime = 0;
    this.at(0.001);
  }
  at(time) {
    let begin = 0;
    const {passages, pause} = this.part;
    passages.forEach((passage) => {
      const length = passage.instants.at(-1);
      if (time >= begin || begin === 0) {
        this.passage = passage;
        this.value = courseAt(passage, Math.min(time - begin, length));
      }
      begin += length + pause;
    });
    this.recipe = DATA.recipes[this.passage.recipe];
    this.stageTime = time;
  }
  start() {
    this.since = engine.context.currentTime;
    const {passages, gain, pause} = this.part;
    engine.order("perform", {passages, gain, pause});
    this.at(0.001);
  }
  follow({time, state}) {
    this.at(Math.min(Math.max(state.time - (time - engine.heardTime), 0.001), this.part.seconds));
    this.root.querySelector("progress").value = this.stageTime / this.part.seconds;
  }
  ended() {
    super.ended();
    this.root.querySelector("progress").value = 0;
    this.at(0.001);
  }
  halted() {
    super.halted();
    this.root.querySelector("progress").value = 0;
  }
  settled() {
    const span = this.part.spectrum.claims.find(({start, end}) => start <= this.stageTime && this.stageTime <= end);
    return span ? Math.floor((this.stageTime - span.start) * RATE) : 0;
  }
  drawSpectrum(found) {
    if (!this.spectrum) return;
    if (!this.spectrum.moving) return super.drawSpectrum(found);
    const {stageTime} = this;
    const predicted = (time) => {
      this.at(time);
      return this.predictedNow();
    };
    this.spectrum.drawTimes(this.part.seconds, predicted, this.playing ? stageTime : null);
    this.at(stageTime);
    return undefined;
  }
  predictedNow() {
    const lines = linesOf(this.recipe, this.value);
    const most = Math.max(...lines.map(([, size]) => size), 1e-12);
    return lines.map(([frequency, size]) => [frequency, size / most]);
  }
}

const THUMB = 16; // width of a slider's thumb, px: its middle runs from half of that to half of that

// A page of the lesson to try: sounds to choose from, and a slider.
class TryStation extends Station {
  setUp() {
    this.slider = this.root.querySelector(".place");
    this.marks = this.root.querySelector(".marks");
    this.choose(0);
    this.slider.addEventListener("input", () => this.moved());
    this.root.querySelectorAll("input[type=radio]").forEach((choice, number) => {
      choice.addEventListener("change", () => {
        this.choose(number);
        if (this.playing) this.start();
        this.slowed();
      });
    });
    this.told = 0;
    this.moved();
  }
  choose(number) {
    this.number = number;
    this.sound = this.part.sounds[number];
    this.recipe = DATA.recipes[this.sound.recipe];
    this.drawMarks();
    for (const hear of this.root.querySelectorAll(".hear")) hear.hidden = hear.dataset.sound !== String(number);
    this.moved();
  }
  // The marks of the axis under the slider; a text that would touch the one before is left out, its line stays.
  drawMarks() {
    const {axis} = this.sound;
    const room = this.slider.clientWidth - THUMB;
    const found = axis.marks.map(([value, text]) => [axisPlace(axis, value), text]).sort(([one], [two]) => one - two);
    this.marks.replaceChildren();
    let taken = -Infinity;
    for (const [place, text] of found) {
      const mark = document.createElement("span");
      mark.textContent = text;
      this.marks.append(mark);
      const wide = mark.offsetWidth;
      const middle = 0.5 * THUMB + place * room;
      const left = Math.min(Math.max(middle - 0.5 * wide, 0), this.slider.clientWidth - wide);
      if (left < taken + 6) mark.textContent = "";
      else taken = left + wide;
      mark.style.left = `${mark.textContent ? left : middle}px`;
    }
  }
  draw() {
    if (this.marks) this.drawMarks();
    super.draw();
  }
  get place() {
    return Number(this.slider.value) / 1000;
  }
  moved() {
    this.value = axisValue(this.sound.axis, this.place);
    const {scale, decimals, unit} = this.sound.axis;
    const text = `${(this.value * scale).toFixed(decimals)} ${unit}`;
    this.root.querySelector(".shown").textContent = text;
    this.slider.setAttribute("aria-valuetext", text);
    this.movedAt = engine.memory.count;
    if (this.playing) engine.order("move", this.place);
    else if (this.picture.recipe) this.draw();
  }
  start() {
    this.movedAt = engine.memory.count;
    engine.order("play", {recipe: this.sound.recipe, axis: this.sound.axis, place: this.place});
  }
  settled() {
    return Math.max(engine.memory.count - this.movedAt - 6000, 0);
  }
}

// Rod and hand from the side, to scale: the rod at the right. Of a long rod only the part beside the hand is drawn.
class HandView {
  constructor(canvas, words, look) {
    Object.assign(this, {canvas, words, look});
  }
  draw(recipe, distance) {
    const {canvas, look, words} = this;
    const wide = canvas.clientWidth;
    if (!wide || !recipe.hand) return;
    const {rod, length, breadth, reach} = recipe.hand;
    const margin = 14;
    const perMetre = (wide - 2 * margin) / (reach + 0.7 * length + rod);
    const deep = 1.3 * breadth * perMetre + 16;
    const tall = deep + 44;
    const pen = preparedPen(canvas, tall, look.paper);
    const right = wide - margin - rod * perMetre;
    const middle = 0.5 * deep;
    const tip = right - distance * perMetre;
    const size = length * perMetre;
    const half = 0.5 * breadth * perMetre;
    pen.fillStyle = look.hand;
    pen.strokeStyle = look.ink;
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.rect(-10, middle - 0.6 * half, Math.max(tip - 0.9 * size + 10, 0), 1.2 * half);
    pen.fill();
    pen.stroke();
    pen.beginPath();
    pen.ellipse(tip - size / 2, middle, size / 2, half, 0, 0, TURN);
    pen.fill();
    pen.stroke();
    pen.fillStyle = look.ink;
    pen.fillRect(right, 0, Math.max(rod * perMetre, 3), deep);
    pen.strokeStyle = look.quiet;
    pen.fillStyle = look.quiet;
    pen.font = look.small;
    pen.textBaseline = "top";
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(margin, deep + 4.5);
    pen.lineTo(right, deep + 4.5);
    const step = niceStep(100 * reach / Math.max(wide / 60, 3));
    for (let cm = 0; cm <= 100 * (reach + 0.6 * length); cm += step) {
      const x = right - cm * perMetre / 100;
      if (x < margin + 8) break;
      pen.moveTo(x, deep + 4);
      pen.lineTo(x, deep + 8);
      pen.textAlign = "center";
      pen.fillText(shortNumber(cm), x, deep + 9);
    }
    pen.stroke();
    pen.textAlign = "left";
    pen.fillText(words.handScale, margin, deep + 25);
    canvas.setAttribute("aria-label", filled(words.handNow, {distance: (100 * distance).toFixed(1)}));
  }
}
