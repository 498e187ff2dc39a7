// One player: the model's settings, a live engine, the clock of the cursor.

const SETTINGS = [
  ...["tempo", "swing", "volume", "balance", "click", "backbeat", "count_in", "loop", "rest", "once", "first", "last"],
  ...["step", "fastest", "times"],
];
const ALONE = "block-player-starts"; // tells the other players on the page to stop
const LISTENS = "block-listens"; // tells that a box listens to the microphone: nothing may sound until it ends
const hushed = () => document.documentElement.hasAttribute(`data-${LISTENS}`);

class Instrument {
  constructor(model) {
    this.model = model;
    this.views = new Set();
    this.end = new AbortController();
    document.addEventListener(ALONE, event => event.detail !== this && this.#ask(false), { signal: this.end.signal });
    document.addEventListener(LISTENS, event => event.detail && this.#ask(false), { signal: this.end.signal });
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
    if (hushed()) return this.#ask(false);
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
        const { number, run: part, tempo, done } = engine.shown.shift();
        if (done) return this.#ask(false);
        if (tempo) {
          for (const view of this.views) view.tell(tempo);
          continue;
        }
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
