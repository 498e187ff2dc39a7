// The player's engine: plays a score of plain data on the Web Audio API, the same on a live and on an offline context.
// The four files of the player are one module, which widgets/player.py puts together.
//
// Positions are quarter notes, times are seconds of the audio clock. Two clocks: a slow timer looks a little ahead and
// hands the audio clock everything that starts before then. Position and time of the point scheduled so far are kept
// side by side, so tempo, swing and loop change there without a gap. A score is what widgets/player.py sends:
//   events, clicks  rows {onset, end, swing: [how far each moves a unit of swing], midi, part, velocity}
//                   and for events text, the line to show, and id, the top note in the engraving;
//                   for clicks back, whether it is one of 2 and 4
//   bars            rows {number, onset, end, swing, countIn: [clicks of one bar, of two bars]}
//   runs            the form: pairs of places in bars, first and last of what is played side by side
//   pan, sound      the settings of harmonylib.sound, under their names there

const AHEAD_S = 0.15, EVERY_MS = 25, FADE_S = 0.03;

const moved = (row, swing) => row.onset + (swing - 0.5) * row.swing[0];
const ending = (row, swing) => row.end + (swing - 0.5) * row.swing[1];

export class Engine {
  // settings: tempo, swing, volume, balance, click, backbeat, count_in, loop, rest, once, first, last (the last two are
  // bar numbers); step, fastest, times: with a step the bars are played so many times at each tempo of a ladder
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
    Object.assign(this, { run: 0, rounds: 0, faster: 0 });
    const { bars } = this.#range(), swing = this.settings.swing, countIn = this.#lead(this.settings.count_in);
    Object.assign(this, { running: true, time, shown: [], voices: new Set(), sources: new Set() });
    if (this.settings.step) this.shown.push({ time, tempo: this.tempo });
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

  // Quarter notes a minute now: on a ladder, that of its step.
  get tempo() {
    const { tempo, step, fastest } = this.settings;
    return step ? Math.max(tempo, Math.min(tempo + this.faster, fastest)) : tempo;
  }

  // The clicks of so many bars that lie before the first one played.
  #lead(count) {
    return count ? this.#range().bars[0].countIn[count - 1] : [];
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
      const quarter = 60 / this.tempo, { to } = this.#range();
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
    if (this.run + 1 < this.runs().length) {
      this.run += 1;
      return this.#jump(this.#range().from);
    }
    const { loop, step, fastest, times, rest, count_in } = this.settings;
    this.rounds += 1;
    this.run = 0;
    if (step && this.rounds % times === 0 && this.tempo < fastest) {
      this.faster += step;
      this.shown.push({ time: this.time, tempo: this.tempo });
      return this.#again(count_in || rest, count_in > 0);
    }
    if (loop || (step && this.rounds % times)) return this.#again(rest, false);
    this.running = false;
    this.shown.push({ time: this.time, done: true });
  }

  // From the start once more, after so many bars of rest; `counted` clicks them in any case.
  #again(rest, counted) {
    const lead = this.#lead(rest).map(row => ({ ...row, always: counted }));
    this.#jump(lead.length ? lead[0].onset : this.#range().from, lead);
  }

  #jump(position, lead = []) {
    for (const voice of this.voices) this.#damp(voice, this.time);
    this.position = position;
    this.#queue(lead);
  }

  #sound(row, time, seconds) {
    if (row.part === "click") {
      const { click, backbeat } = this.settings;
      if (row.always || (click && (!backbeat || row.back))) this.#source(row, row.midi[0], time, row.velocity);
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
