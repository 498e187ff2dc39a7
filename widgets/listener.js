// The listening box: asks for the microphone on the first click, hears takes with the ear above, shows verdicts.
// Nothing is kept or sent but the verdict's words; the page stays silent, beats are seen.
const BEFORE_S = 1;
const AFTER_S = 0.95;
const PATIENCE_S = 8;
const SETTLE_S = 0.4;
const CLIPPED = 0.985;
const BLOCK = 1024;
const WORKLET = `registerProcessor("take", class extends AudioWorkletProcessor {
  constructor() { super(); this.block = new Float32Array(${BLOCK}); this.at = 0; }
  process([[channel]]) {
    if (!channel) return true;
    for (const value of channel) {
      this.block[this.at++] = value;
      if (this.at === ${BLOCK}) { this.port.postMessage(this.block); this.block = new Float32Array(${BLOCK}); this.at = 0; }
    }
    return true;
  }
});`;

// The microphone as blocks of samples; `stop` frees it.
async function openMicrophone(heard, gone) {
  if (!navigator.mediaDevices?.getUserMedia) throw new Error("this page may not use a microphone");
  const wanted = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
  const stream = await navigator.mediaDevices.getUserMedia({ audio: wanted });
  const context = new AudioContext();
  const stop = () => {
    for (const track of stream.getTracks()) track.stop();
    if (context.state !== "closed") context.close();
  };
  try {
    const address = URL.createObjectURL(new Blob([WORKLET], { type: "text/javascript" }));
    await context.audioWorklet.addModule(address);
    URL.revokeObjectURL(address);
    const node = new AudioWorkletNode(context, "take", { numberOfOutputs: 0 });
    node.port.onmessage = (event) => heard(event.data);
    context.createMediaStreamSource(stream).connect(node);
    await context.resume();
  } catch (trouble) {
    stop();
    throw trouble;
  }
  for (const track of stream.getTracks()) track.addEventListener("ended", gone);
  return { rate: context.sampleRate, stop };
}

function render({ model, el }) {
  const make = (tag, name, text = "") => {
    const made = document.createElement(tag);
    made.className = `listener-${name}`;
    made.textContent = text;
    return made;
  };
  const box = make("section", "box");
  box.setAttribute("aria-label", `Listening, ${model.get("title")}`);
  const button = make("button", "button", "listen");
  const light = make("span", "light", "microphone off");
  const meter = document.createElement("meter");
  Object.assign(meter, { className: "listener-meter", min: -60, max: 0, low: -45, high: -3, optimum: -20, value: -60 });
  meter.setAttribute("aria-label", "Level of the microphone in decibels");
  const asked = make("p", "asked");
  const beat = make("span", "beat");
  const said = make("p", "said");
  said.setAttribute("role", "status");
  const rows = make("ol", "rows");
  const about = make("details", "about");
  about.append(make("summary", "summary", "experimental: what it hears, what it misses"));
  for (const line of model.get("about")) about.append(make("p", "line", line));
  const top = make("div", "top");
  top.append(button, light, meter, beat);
  box.append(top, asked, said, rows, about);
  if (model.get("off")) box.replaceChildren(make("p", "off", model.get("off")));
  el.append(box);

  let microphone = null;
  let opening = 0;
  let blocks = [];
  let count = 0; // samples since the microphone was opened
  let level = 1e-6; // a slow mean of the power, to see a strum come
  let onset = null;
  let since = 0; // samples from which a take is waited for
  let clipped = 0;
  let awake = 0;
  let timers = [];
  const questions = () => model.get("questions");
  const mode = () => model.get("mode");

  function show() {
    light.textContent = microphone ? "● microphone on" : "microphone off";
    light.classList.toggle("listener-on", Boolean(microphone));
    button.textContent = microphone ? "stop" : "listen";
    const now = questions()[model.get("now")];
    button.disabled = mode() !== "tuner" && !now && !microphone;
    if (!now && mode() === "chord") asked.textContent = "mark or write a grip, then play it";
    else asked.textContent = mode() === "tuner" ? "Pluck one open string and let it ring." : now ? `play ${now.label}` : "";
    if (now?.deaf.length) asked.textContent += ` – here it cannot be heard whether ${now.deaf.join(", ")} is missing`;
  }
  function say(text, kind = "") {
    said.textContent = text;
    said.dataset.kind = kind;
  }
  function set(values) {
    for (const [name, value] of Object.entries(values)) model.set(name, value);
    model.save_changes();
  }
  function stop(text) {
    opening++;
    for (const timer of timers) clearTimeout(timer);
    timers = [];
    microphone?.stop();
    microphone = null;
    blocks = [];
    onset = null;
    meter.value = -60;
    beat.textContent = "";
    if (text) say(text);
    show();
  }
  function cut(from, to) {
    const start = count - blocks.length * BLOCK;
    const out = new Float32Array(Math.max(0, Math.round(to - from)));
    blocks.forEach((block, n) => {
      const at = Math.round(start + n * BLOCK - from);
      for (let k = Math.max(0, -at); k < block.length && at + k < out.length; k++) out[at + k] = block[k];
    });
    return out;
  }
  function judged(take) {
    const question = questions()[model.get("now")];
    const verdict = EAR.hear(take, microphone.rate, question, model.get("weights"));
    const told = { kind: verdict.kind, text: verdict.text, sure: verdict.sure, label: question.label };
    set({ verdicts: [...model.get("verdicts"), told] });
    return told;
  }
  function taken(take) {
    if (mode() !== "tuner" && !questions().length) return stop("");
    if (mode() === "tuner") {
      const found = TUNER.tuneUp(take, microphone.rate, model.get("tuning"));
      const { number, cents } = found ?? {};
      const name = found ? model.get("strings")[number] : "";
      const off = found ? Math.abs(cents) : 0;
      if (!found) say("nothing heard: pluck one open string", "nothing");
      else if (off <= 5) say(`• ${name}: in tune`, "right");
      else say(`${cents > 0 ? "↓" : "↑"} ${name}: ${off.toFixed(0)} cents too ${cents > 0 ? "high" : "low"}`, "tune");
      set({ tuned: found ? [model.get("tuning").length - number, cents] : [0, 0] });
      return;
    }
    const told = judged(take);
    const right = told.kind === "right" || told.kind === "tune";
    say(`${told.label}: ${told.text}`, told.kind);
    if (mode() === "chord") return stop();
    if (right && model.get("now") === questions().length - 1) return stop(`${told.text} – all ${questions().length} played`);
    if (right) set({ now: model.get("now") + 1 });
    show();
  }
  function heard(block) {
    if (!microphone) return;
    blocks.push(block);
    count += block.length;
    const rate = microphone.rate;
    while (blocks.length * BLOCK > 4 * rate) blocks.shift();
    let peak = 0;
    let power = 0;
    for (const value of block) {
      peak = Math.max(peak, Math.abs(value));
      power += value * value;
    }
    power /= block.length;
    meter.value = Math.max(-60, 20 * Math.log10(peak + 1e-6));
    if (peak > CLIPPED) clipped = count;
    light.title = clipped && count - clipped < rate ? "too loud: move away from the microphone" : "";
    if (light.title) light.textContent = "● too loud: move away from the microphone";
    else light.textContent = "● microphone on";
    if (mode() === "phrase") return;
    if (power > 1e-9 && !awake) awake = count; // the device may be silent at first
    if (!awake || count - awake < SETTLE_S * rate) {
      level = Math.max(level, power);
      since = count;
      return;
    }
    if (onset === null && power > 4 * level && power > 1e-6) onset = count - block.length;
    level = Math.max(level + (power - level) * (power > level ? 0.1 : 0.3), 1e-7);
    if (onset !== null && count - onset >= AFTER_S * rate) {
      const from = onset - BEFORE_S * rate;
      const take = cut(from, count);
      const strum = from + (EAR.onset(EAR.resampled(take, rate)).start / EAR.RATE) * rate;
      if (strum > onset + 0.2 * rate) return void (onset = strum); // a noise came before the strum: hear the strum out
      [onset, since] = [null, count];
      taken(take);
    } else if (onset === null && mode() !== "tuner" && count - since > PATIENCE_S * rate) {
      const take = cut(count - 2 * rate, count);
      since = count;
      taken(take);
    }
  }
  // A phrase: beats are seen, one chord each period; every take is judged when its period ends.
  function phrase() {
    const period = Math.max(1.5, (60 / model.get("tempo")) * model.get("beats"));
    const begun = performance.now();
    const later = (seconds, act) => timers.push(setTimeout(act, begun + 1000 * seconds - performance.now()));
    rows.replaceChildren();
    set({ now: 0, verdicts: [] });
    for (let n = 1; n <= 4; n++) later((n - 1) * (period / 2), () => (beat.textContent = `${5 - n} …`));
    questions().forEach((question, n) => {
      const at = 2 * period + n * period;
      later(at, () => {
        beat.textContent = `◆ ${question.label}`;
        set({ now: n });
        show();
      });
      later(at + Math.min(period, 1.5) - 0.05, () => {
        if (!microphone) return;
        const told = judged(cut(count - (BEFORE_S + 0.9) * microphone.rate, count));
        const mark = { right: "right", tune: "right", unsure: "not sure" }[told.kind] ?? "off";
        rows.append(make("li", "row", `${question.label}: ${mark} – ${told.text}`));
        if (n === questions().length - 1) stop("the phrase is over");
      });
    });
  }
  async function start() {
    const mine = ++opening;
    say("");
    try {
      const opened = await openMicrophone(heard, () => stop("the microphone is gone: plug it in and press listen"));
      if (mine !== opening) return opened.stop(); // stopped or closed meanwhile
      microphone = opened;
    } catch (trouble) {
      const refused = trouble.name === "NotAllowedError";
      return stop(refused ? "no microphone: the browser was told no; all else works" : "no microphone found; all else works");
    }
    [blocks, count, level, onset, since, clipped, awake] = [[], 0, 1e-6, null, 0, 0, 0];
    document.dispatchEvent(new CustomEvent("listening"));
    if (mode() === "cycle" && model.get("now") === questions().length - 1) set({ now: 0 });
    show();
    if (mode() === "phrase") phrase();
  }
  const press = () => (microphone ? stop("") : start());
  button.addEventListener("click", press);
  model.on("change:questions change:now", show);
  show();
  return () => {
    button.removeEventListener("click", press);
    model.off("change:questions change:now", show);
    stop("");
    el.replaceChildren();
  };
}

export { EAR, TUNER };
export default { render };
