// The player: plays a score of plain data on the Web Audio API and moves a cursor over the engraving.
//
// Positions are quarter notes, times are seconds of the audio clock. Two clocks: a slow timer looks a little ahead and
// hands the audio clock everything that starts before then. Position and time of the point scheduled so far are kept
// side by side, so tempo, swing and loop change there without a gap. A score is what widgets/player.py sends:
//   events, clicks  rows {onset, end, swing: [how far each moves a unit of swing], midi, part, velocity}
//                   and for events text, the line to show, and id, the top note in the engraving
//   bars            rows {number, onset, end, swing, countIn: [clicks of one bar, of two bars]}
//   runs            the form: pairs of places in bars, first and last of what is played side by side
//   pan, sound      the settings of harmonylib.sound, under their names there
// The string is that of harmonylib.sound: a loop of one period with a three-tap filter that sets the pitch exactly.

const AHEAD_S = 0.15, EVERY_MS = 25, FADE_S = 0.03;

const moved = (row, swing) => row.onset + (swing - 0.5) * row.swing[0];
const ending = (row, swing) => row.end + (swing - 0.5) * row.swing[1];

// --- strings and clicks -----------------------------------------------------------------------------------------

function taps(frequency, ring, sound) {
  const period = sound.RATE / frequency, length = Math.round(period), omega = 2 * Math.PI / period;
  const turn = Math.tan(omega * (period - length)), loss = sound.DULLNESS / frequency;
  let tilt = 0, outer = 0, middle = 1;
  for (let round = 0; round < 20; round++) {
    outer = loss + tilt * tilt;
    middle = 1 - outer + outer * Math.cos(omega);
    tilt = -turn * middle / Math.sin(omega);
  }
  const gain = 10 ** (-3 / (frequency * ring)) / Math.hypot(middle, tilt * Math.sin(omega));
  return [length, gain * (outer + tilt) / 2, gain * (1 - outer), gain * (outer - tilt) / 2];
}

function pluck(wave, size, midi, frequency, sound) {
  let seed = midi;
  const step = 2 * Math.PI * frequency / sound.RATE;
  for (let partial = 1; partial <= Math.max(Math.floor(0.45 * sound.RATE / frequency), 1); partial++) {
    seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0; // the same noise every time
    const phase = 2 * Math.PI * seed / 2 ** 32, soft = 1 + (partial * frequency / sound.SOFT_HZ) ** 2;
    const strength = Math.sin(Math.PI * sound.PLUCKED_AT * partial) / partial / soft;
    for (let n = 0; n < size; n++) wave[n] += strength * Math.cos(step * partial * n + phase);
  }
}

function string(midi, sound) {
  const frequency = 440 * 2 ** ((midi - 69) / 12), ring = sound.RING_S * 2 ** ((40 - midi) / 24);
  const [length, near, here, far] = taps(frequency, ring, sound);
  const wave = new Float64Array(Math.ceil(ring * sound.RATE));
  pluck(wave, length + 1, midi, frequency, sound);
  for (let n = length + 1; n < wave.length; n++) {
    wave[n] = near * wave[n - length + 1] + here * wave[n - length] + far * wave[n - length - 1];
  }
  const first = wave.subarray(0, Math.floor(sound.RATE / 4));
  const level = Math.sqrt(first.reduce((sum, x) => sum + x * x, 0) / first.length);
  return Float32Array.from(wave, (x, n) => x / level * swell(n, sound));
}

// A sound starts softly.
function swell(n, sound) {
  const attack = Math.ceil(sound.ATTACK_S * sound.RATE);
  return n < attack ? 0.5 - 0.5 * Math.cos(Math.PI * n / (attack - 1)) : 1;
}

function tick(midi, sound) {
  const frequency = midi === sound.ACCENT ? 1800 : 1200;
  return Float32Array.from({ length: Math.ceil(sound.CLICK_S * sound.RATE) }, (_, n) => {
    const time = n / sound.RATE;
    const fading = Math.exp(-time / 0.005) * (1 - time / sound.CLICK_S);
    return 5 * Math.sin(2 * Math.PI * frequency * time) * fading * swell(n, sound);
  });
}

// Peaks above the knee are bent as in harmonylib.sound; the curve spans −4 to 4.
function bent(sound, reach = 4, size = 4097) {
  const room = sound.LOUDEST - sound.KNEE;
  return Float32Array.from({ length: size }, (_, n) => {
    const x = reach * (2 * n / (size - 1) - 1), over = Math.abs(x) - sound.KNEE;
    return over > 0 ? Math.sign(x) * (sound.KNEE + room * Math.tanh(over / room)) : x;
  });
}

// --- the engine: the same on a live and on an offline context ---------------------------------------------------

export class Engine {
  // settings: tempo, swing, volume, balance, click, count_in, loop, once, first, last (the last two are bar numbers)
  constructor(context, score, settings) {
    Object.assign(this, { context, settings: { ...settings }, running: false, run: 0, shown: [], buffers: new Map() });
    this.load(score);
    const shaper = context.createWaveShaper();
    shaper.curve = bent(score.sound);
    this.master = context.createGain();
    this.master.gain.value = this.#loudness();
    this.master.connect(shaper).connect(context.destination);
  }

  load(score) {
    this.score = score;
    this.rows = [...score.events.map((row, number) => ({ ...row, number })), ...score.clicks];
    this.rows.sort((a, b) => a.onset - b.onset);
  }

  start(time) {
    this.run = 0;
    const { bars } = this.#range(), swing = this.settings.swing;
    const countIn = this.settings.count_in ? bars[0].countIn[this.settings.count_in - 1] : [];
    Object.assign(this, { running: true, time, shown: [], voices: new Set(), sources: new Set() });
    this.position = countIn.length ? countIn[0].onset : moved(bars[0], swing);
    this.fade = this.context.createGain();
    this.fade.connect(this.master);
    this.parts = {};
    for (const [part, pan] of Object.entries(this.score.pan)) {
      const panner = this.context.createStereoPanner();
      panner.pan.value = pan;
      this.parts[part] = this.context.createGain();
      this.parts[part].gain.value = this.#share(part);
      this.parts[part].connect(panner).connect(this.fade);
    }
    this.#queue(countIn.map(row => ({ ...row, always: true })));
  }

  stop(time) {
    if (!this.fade) return;
    this.running = false;
    this.shown = [];
    this.fade.gain.setValueAtTime(1, time);
    this.fade.gain.linearRampToValueAtTime(0, time + FADE_S);
    for (const source of this.sources) source.stop(time + FADE_S);
    this.fade = null;
  }

  // Hand everything that starts before `until` to the audio clock.
  advance(until) {
    while (this.running && this.time < until) {
      const quarter = 60 / this.settings.tempo, { to } = this.#range();
      const within = this.position + (until - this.time) / quarter, reach = Math.min(to, within);
      const when = position => this.time + Math.max(position - this.position, 0) * quarter;
      for (; this.next < this.queue.length; this.next++) {
        const row = this.queue[this.next], onset = moved(row, this.settings.swing);
        if (onset >= reach) break;
        this.#sound(row, when(onset), (Math.min(ending(row, this.settings.swing), to) - onset) * quarter);
      }
      for (const voice of this.voices) {
        const end = Math.min(ending(voice.row, this.settings.swing), to);
        if (end <= reach) this.#damp(voice, when(end));
      }
      this.time = reach < to ? until : when(to);
      this.position = reach;
      if (reach >= to) this.#turn();
    }
  }

  set(name, value, time = this.context.currentTime) {
    this.settings[name] = value;
    if (name === "volume") this.master.gain.setTargetAtTime(this.#loudness(), time, 0.015);
    if (name === "balance" && this.parts) {
      for (const part in this.parts) this.parts[part].gain.setTargetAtTime(this.#share(part), time, 0.015);
    }
    if (["first", "last", "once"].includes(name) && this.running) {
      this.run = Math.max(this.runs().findIndex(bars => this.#holds(this.#span(bars))), 0);
      const range = this.#range();
      if (this.#holds(range)) this.#queue();
      else this.#jump(range.from);
    }
  }

  // What is played, as rows of bars: the form of a whole tune, or the chosen bars as they are written.
  runs() {
    const { bars, runs } = this.score, { first, last, once } = this.settings;
    const chosen = bars.filter(bar => first <= bar.number && bar.number <= last);
    if (chosen.length && chosen.length < bars.length) return [chosen];
    return once ? [bars] : runs.map(([from, to]) => bars.slice(from, to + 1));
  }

  #range() {
    return this.#span(this.runs()[this.run]);
  }

  #span(bars) {
    const { swing } = this.settings;
    return { bars, from: moved(bars[0], swing), to: ending(bars.at(-1), swing) };
  }

  #holds({ from, to }) {
    return from <= this.position && this.position < to;
  }

  // What is still to come in the chosen bars; the count-in lies before them.
  #queue(before = []) {
    const { bars, to } = this.#range(), start = before.length ? bars[0].onset : Math.max(bars[0].onset, this.position);
    const swing = this.settings.swing;
    const inside = row => row.onset >= bars[0].onset && moved(row, swing) >= start && moved(row, swing) < to;
    this.queue = [...before, ...this.rows.filter(inside)];
    this.next = 0;
  }

  #turn() {
    const more = this.run + 1 < this.runs().length;
    if (more || this.settings.loop) {
      this.run = more ? this.run + 1 : 0;
      return this.#jump(this.#range().from);
    }
    this.running = false;
    this.shown.push({ time: this.time, done: true });
  }

  #jump(position) {
    for (const voice of this.voices) this.#damp(voice, this.time);
    this.position = position;
    this.#queue();
  }

  #sound(row, time, seconds) {
    if (row.part === "click") {
      if (row.always || this.settings.click) this.#source(row, row.midi[0], time, row.velocity);
      return;
    }
    this.shown.push({ time, number: row.number, run: this.run });
    const weight = n => (n === row.midi.length - 1 ? this.score.sound.TOP_WEIGHT : 1);
    const whole = Math.hypot(...row.midi.map((_, n) => weight(n)));
    const strum = Math.min(this.score.sound.STRUM_S, seconds / (2 * row.midi.length));
    row.midi.forEach((midi, n) => this.#source(row, midi, time + n * strum, row.velocity * weight(n) / whole));
  }

  #source(row, midi, time, level) {
    const source = this.context.createBufferSource(), gain = this.context.createGain();
    source.buffer = this.#buffer(row.part, midi);
    gain.gain.value = level;
    source.connect(gain).connect(this.parts[row.part]);
    const voice = { row, source, gain: gain.gain, level, time }, { voices, sources } = this;
    sources.add(source);
    if (row.part !== "click") voices.add(voice);
    source.onended = () => {
      sources.delete(source);
      voices.delete(voice);
      gain.disconnect();
    };
    source.start(time);
  }

  #damp(voice, end) {
    const release = Math.min(this.score.sound.RELEASE_S, Math.max(end - voice.time, 0) / 2);
    voice.gain.setValueAtTime(voice.level, end - release);
    voice.gain.linearRampToValueAtTime(0, end);
    voice.source.stop(end);
    this.voices.delete(voice);
  }

  #buffer(part, midi) {
    const key = `${part === "click"} ${midi}`, sound = this.score.sound;
    if (!this.buffers.has(key)) {
      const samples = part === "click" ? tick(midi, sound) : string(midi, sound);
      const buffer = new AudioBuffer({ length: samples.length, numberOfChannels: 1, sampleRate: sound.RATE });
      buffer.copyToChannel(samples, 0);
      this.buffers.set(key, buffer);
    }
    return this.buffers.get(key);
  }

  #loudness() {
    return this.score.sound.LEVEL * this.settings.volume / 4; // the curve of `bent` spans −4 to 4
  }

  #share(part) {
    const { balance } = this.settings;
    return part === "call" ? Math.min(1, 1 - balance) : part === "answer" ? Math.min(1, 1 + balance) : 1;
  }
}

// The score as samples, scheduled in the same steps as live. `settings` are the engine's without the tempo; `changes`
// are {at: seconds, name, value}. Resolves to {left, right, rate, shown: what the cursor would have shown when}.
export async function renderOffline(score, tempo, { seconds, changes = [], ...settings }) {
  const rate = score.sound.RATE;
  const context = new OfflineAudioContext(2, Math.ceil(seconds * rate), rate);
  const engine = new Engine(context, score, { ...settings, tempo });
  const waiting = [...changes].sort((a, b) => a.at - b.at);
  engine.start(0);
  for (let now = 0; now < seconds; now += EVERY_MS / 1000) {
    while (waiting.length && waiting[0].at <= now) {
      const { at, name, value } = waiting.shift();
      if (name === "playing") engine.stop(at);
      else engine.set(name, value, at);
    }
    engine.advance(Math.min(now + AHEAD_S, seconds));
  }
  const shown = [...engine.shown], buffer = await context.startRendering();
  return { left: buffer.getChannelData(0), right: buffer.getChannelData(1), rate, shown };
}

// --- one player: the model's settings, a live engine, the clock of the cursor ------------------------------------

const SETTINGS = ["tempo", "swing", "volume", "balance", "click", "count_in", "loop", "once", "first", "last"];
const ALONE = "block-player-starts"; // tells the other players on the page to stop

class Instrument {
  constructor(model) {
    this.model = model;
    this.views = new Set();
    this.end = new AbortController();
    document.addEventListener(ALONE, event => event.detail !== this && this.#ask(false), { signal: this.end.signal });
    this.listeners = [
      ["change:playing", () => (model.get("playing") ? this.#start() : this.#stop())],
      ["change:score", () => this.#reload()],
      ...SETTINGS.map(name => [`change:${name}`, () => this.engine?.set(name, model.get(name))]),
    ];
    for (const [name, listener] of this.listeners) model.on(name, listener);
    this.#ask(false);
  }

  leave(view) {
    this.views.delete(view);
    if (!this.views.size) this.#ask(false);
  }

  close() {
    for (const [name, listener] of this.listeners) this.model.off(name, listener);
    this.end.abort();
    this.#silence();
    this.context?.close();
    this.context = this.engine = null;
  }

  #ask(playing) {
    if (this.model.get("playing") === playing) return;
    this.model.set("playing", playing);
    this.model.save_changes();
  }

  #reload() {
    this.#silence();
    this.engine?.load(this.model.get("score"));
    if (this.model.get("playing")) this.#start();
  }

  async #start() {
    document.dispatchEvent(new CustomEvent(ALONE, { detail: this }));
    const score = this.model.get("score");
    this.context ??= new AudioContext({ sampleRate: score.sound.RATE });
    const settings = Object.fromEntries(SETTINGS.map(name => [name, this.model.get(name)]));
    this.engine ??= new Engine(this.context, score, settings);
    const { context, engine } = this, run = (this.run = {});
    await context.resume();
    if (this.run !== run || this.context !== context) return;
    engine.start(context.currentTime + 0.06);
    const look = () => {
      if (engine.time < context.currentTime) engine.time = context.currentTime + 0.02; // the timer came too late
      engine.advance(context.currentTime + AHEAD_S);
    };
    look();
    run.timer = setInterval(look, EVERY_MS);
    const show = () => {
      const heard = context.currentTime - (context.outputLatency || 0);
      while (engine.shown.length && engine.shown[0].time <= heard) {
        const { number, run: part, done } = engine.shown.shift();
        if (done) return this.#ask(false);
        this.model.set("now", number);
        for (const view of this.views) view.show(number, part, engine.runs().length);
      }
      run.frame = requestAnimationFrame(show);
    };
    show();
  }

  #stop() {
    this.#silence();
    this.model.save_changes();
    const { context } = this;
    setTimeout(() => !this.run && context?.state === "running" && context.suspend(), 300);
  }

  #silence() {
    clearInterval(this.run?.timer);
    cancelAnimationFrame(this.run?.frame);
    this.run = null;
    this.engine?.stop(this.context.currentTime);
  }
}

// --- what is seen -----------------------------------------------------------------------------------------------

function make(tag, properties = {}, ...children) {
  const { aria = {}, ...rest } = properties, element = Object.assign(document.createElement(tag), rest);
  for (const [name, value] of Object.entries(aria)) element.setAttribute(name === "role" ? name : `aria-${name}`, value);
  element.append(...children);
  return element;
}

const TEMPO = value => `♩ = ${Math.round(value)}`;
const SWING = value => (value < 0.505 ? "straight" : `${Math.round(100 * value)} : ${100 - Math.round(100 * value)}`);
const BALANCE = value => (Math.abs(value) < 0.05 ? "even" : value < 0 ? "more call" : "more answer");
const SLIDERS = [
  // trait, label, lowest, highest, step, what is written beside it
  ["tempo", "Tempo", 30, 240, 1, TEMPO],
  ["volume", "Volume", 0, 1, 0.05, value => `${Math.round(100 * value)} %`],
  ["swing", "Swing", 0.5, 0.75, 0.01, SWING],
  ["balance", "Call and answer", -1, 1, 0.1, BALANCE],
];

class View {
  constructor(instrument, el) {
    Object.assign(this, { instrument, model: instrument.model, el, end: new AbortController(), listeners: [] });
    const score = this.model.get("score");
    this.root = make("section", { className: "block-player", tabIndex: 0, aria: { role: "group" } });
    this.play = make("button", { type: "button", className: "block-player-play" });
    this.line = make("output", { className: "block-player-line", aria: { live: "off" } });
    this.said = make("p", { className: "block-player-said", aria: { role: "status", live: "polite" } });
    this.paper = make("div", { className: "block-player-paper", tabIndex: 0, aria: { role: "region", label: "Score" } });
    this.form = this.#switch("once", "Once, as written");
    this.root.append(
      make("div", { className: "block-player-row" }, this.play, this.line),
      make("div", { className: "block-player-row" }, ...SLIDERS.map(slider => this.#slider(...slider))),
      make("div", { className: "block-player-row" }, this.#bars("first", "From bar"), this.#bars("last", "to bar"),
        this.#switch("loop", "Loop"), this.form, this.#switch("click", "Click"), this.#countIn(),
        make("span", { className: "block-player-caution" }, score.caution)),
      this.said,
      this.paper,
    );
    el.append(this.root);
    this.#keepKeys();
    this.#listen(this.play, "click", () => this.#write("playing", !this.model.get("playing")));
    this.#listen(this.root, "keydown", event => {
      if (event.key !== " " || event.target.closest("button, select, input[type=checkbox]")) return;
      event.preventDefault();
      this.#write("playing", !this.model.get("playing"));
    });
    this.#follow("theme", theme => (this.root.dataset.theme = theme));
    this.#follow("score", ({ title, events, runs }) => {
      this.root.setAttribute("aria-label", `Player: ${title}`);
      this.balance.hidden = !events.some(row => row.part === "answer");
      this.form.hidden = runs.length < 2;
      this.line.textContent = events[this.model.get("now")]?.text ?? "";
    });
    this.#follow("svg", svg => this.#engrave(svg));
    this.#follow("playing", playing => this.#turned(playing));
    instrument.views.add(this);
  }

  // The sounding event: its line of text, its note in the engraving, and a band over both staves; where the form leads
  // elsewhere and back, also which part of the way it is.
  show(number, part, parts) {
    const row = this.model.get("score").events[number];
    this.line.textContent = parts > 1 ? `${row.text}, part ${part + 1} of ${parts} as played` : row.text;
    this.#unlight();
    const notes = this.notes.get(row.id);
    if (!notes) return;
    for (const note of notes) (note.closest("g.chord") ?? note).classList.add("block-player-now");
    const measure = notes[0].closest("g.measure"), chord = notes[0].closest("g.chord") ?? notes[0];
    const [at, bar] = [chord.getBBox(), measure.getBBox()], margin = 120;
    const place = { x: at.x - margin, width: at.width + 2 * margin, y: bar.y, height: bar.height, rx: 60 };
    for (const [name, value] of Object.entries(place)) this.band.setAttribute(name, value);
    measure.prepend(this.band);
    const [band, box] = [this.band.getBoundingClientRect(), this.paper.getBoundingClientRect()];
    if (band.top < box.top || band.bottom > box.bottom) this.paper.scrollTop += band.top - box.top - 8;
  }

  close() {
    this.end.abort();
    for (const [name, listener] of this.listeners) this.model.off(name, listener);
    this.instrument.leave(this);
    this.root.remove();
  }

  #turned(playing) {
    this.play.textContent = playing ? "■ Stop" : "▶ Play";
    this.play.setAttribute("aria-label", playing ? "Stop" : "Play");
    const bars = `bar ${this.model.get("first")} to ${this.model.get("last")}`;
    if (playing) this.said.textContent = `Playing from ${bars}`;
    else if (this.said.textContent) this.said.textContent = `Stopped at ${this.line.textContent}`;
    if (!playing) this.#unlight();
  }

  #unlight() {
    for (const note of this.paper.querySelectorAll(".block-player-now")) note.classList.remove("block-player-now");
    this.band?.remove();
  }

  #engrave(svg) {
    this.paper.replaceChildren();
    this.paper.hidden = !svg;
    this.notes = new Map();
    if (!svg) return;
    const page = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
    this.paper.append(document.importNode(page, true));
    this.#keepKeys();
    this.band = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    this.band.setAttribute("class", "block-player-band");
    this.band.style.stroke = "none"; // the engraving's own style sheet gives every rect a stroke
    for (const note of this.paper.querySelectorAll("g.note[id]")) {
      const id = note.id.replace(/-\d+$/, ""); // what is tied to n12 is n12-960
      this.notes.set(id, [...(this.notes.get(id) ?? []), note]);
    }
  }

  // JupyterLab would take a letter typed here for a command; it looks only at what has the focus.
  #keepKeys() {
    const focusable = this.root.querySelectorAll("button, input, select, [tabindex]");
    for (const one of [this.root, ...focusable]) one.setAttribute("data-lm-suppress-shortcuts", "true");
  }

  #slider(name, label, min, max, step, written) {
    const input = make("input", { type: "range", min, max, step }), shown = make("output");
    const box = make("label", { className: "block-player-slider" }, make("span", {}, label), input, shown);
    if (name === "balance") this.balance = box;
    this.#follow(name, value => {
      if (name === "tempo") Object.assign(input, { min: Math.min(min, value), max: Math.max(max, value) });
      input.value = value;
      shown.textContent = written(value);
      input.setAttribute("aria-valuetext", written(value));
    });
    this.#listen(input, "input", () => this.#write(name, input.valueAsNumber));
    return box;
  }

  #switch(name, label) {
    const input = make("input", { type: "checkbox" });
    this.#follow(name, value => (input.checked = value));
    this.#listen(input, "change", () => this.#write(name, input.checked));
    return make("label", {}, input, make("span", {}, label));
  }

  #countIn() {
    const choices = ["none", "1 bar", "2 bars"].map((text, value) => make("option", { value }, text));
    return this.#select("count_in", "Count-in", make("select", {}, ...choices));
  }

  #bars(name, label) {
    const select = make("select");
    this.#follow("score", ({ bars }) => {
      const numbers = [...new Set(bars.map(bar => bar.number))];
      select.replaceChildren(...numbers.map(number => make("option", { value: number }, String(number))));
      select.value = this.model.get(name);
    });
    return this.#select(name, label, select);
  }

  #select(name, label, select) {
    this.#follow(name, value => (select.value = value));
    this.#listen(select, "change", () => this.#write(name, +select.value));
    return make("label", {}, make("span", {}, label), select);
  }

  #write(name, value) {
    const { model } = this;
    if (name === "first" && value > model.get("last")) model.set("last", value);
    if (name === "last" && value < model.get("first")) model.set("first", value);
    model.set(name, value);
    model.save_changes();
  }

  #follow(name, draw) {
    const listener = () => draw(this.model.get(name));
    this.model.on(`change:${name}`, listener);
    this.listeners.push([`change:${name}`, listener]);
    listener();
  }

  #listen(element, name, handler) {
    element.addEventListener(name, handler, { signal: this.end.signal });
  }
}

export default () => {
  let instrument;
  return {
    initialize({ model }) {
      instrument = new Instrument(model);
      return () => instrument.close();
    },
    render({ el }) {
      const view = new View(instrument, el);
      return () => view.close();
    },
  };
};
