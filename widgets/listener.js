// The listening box: asks for the microphone on the first click, hears takes with the ear above, shows verdicts.
// Nothing is kept or sent but the verdict's words; beats are seen.
const BEFORE_S = 1;
const AFTER_S = 0.95;
const PATIENCE_S = 8;
const SETTLE_S = 0.4;
const CLIPPED = 0.985;
const TOO_LOUD = "too loud: move away from the microphone";
const EARLY_S = 0.8; // a phrase's take begins so long before its beat, and ends
const LATE_S = 1.45; // so long after it
const MARKS = { right: "right", tune: "right", unsure: "not sure" };
const MOST = 100; // verdicts kept

function render({ model, el }) {
  const make = (tag, name, text = "") => {
    const made = document.createElement(tag);
    made.className = `listener-${name}`;
    made.textContent = text;
    return made;
  };
  const box = make("div", "box");
  box.setAttribute("role", "group"); // not a landmark: there are several on a page
  box.setAttribute("aria-label", `Listening, ${model.get("title")}`);
  const button = make("button", "button", "listen");
  const light = make("span", "light", "microphone off");
  light.setAttribute("role", "status");
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

  let release = null; // gives the page its sound back
  let microphone = null;
  let opening = 0;
  let blocks = [];
  let count = 0; // samples since the microphone was opened
  let level = 1e-6; // a slow mean of the power, to see a strum come
  let onset = null;
  let since = 0; // samples from which a take is waited for
  let clipped = 0;
  let awake = 0;
  let done = false; // all of a cycle was played
  let marks = []; // of a phrase's chords
  const questions = () => model.get("questions");
  const mode = () => model.get("mode");

  function show() {
    button.textContent = release ? "stop" : "listen";
    light.classList.toggle("listener-on", Boolean(microphone));
    if (!microphone) light.textContent = release ? "asking for the microphone" : "microphone off";
    const all = questions().length;
    const now = questions()[model.get("now")];
    button.disabled = mode() !== "tuner" && !now && !release;
    asked.textContent = mode() === "tuner" ? "Pluck one open string and let it ring." : "";
    if (mode() === "chord" && !now) asked.textContent = "mark or write a grip, then play it";
    if (now) asked.textContent = `play ${now.label}${all > 1 ? ` (${model.get("now") + 1} of ${all})` : ""}`;
    if (now && mode() === "cycle") asked.textContent += ", and let it ring for a second";
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
    microphone?.stop();
    release?.();
    [microphone, release, blocks, onset] = [null, null, [], null];
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
    return EAR.resampled(out, microphone.rate);
  }
  function judged(take) {
    const question = questions()[model.get("now")];
    const verdict = EAR.hear(take, EAR.RATE, question, model.get("weights"));
    const told = { kind: verdict.kind, text: verdict.text, sure: verdict.sure, label: question.label };
    set({ verdicts: [...model.get("verdicts"), told].slice(-MOST) });
    return told;
  }
  function tuned(take) {
    const found = TUNER.tuneUp(take, EAR.RATE, model.get("tuning"));
    const { number, cents } = found ?? {};
    const name = found ? model.get("strings")[number] : "";
    const off = found ? Math.abs(cents) : 0;
    if (!found) say("nothing heard: pluck one open string", "nothing");
    else if (off <= 5) say(`• ${name}: in tune`, "right");
    else say(`${cents > 0 ? "↓" : "↑"} ${name}: ${off.toFixed(0)} cents too ${cents > 0 ? "high" : "low"}`, "tune");
    set({ tuned: found ? [model.get("tuning").length - number, cents] : [0, 0] });
  }
  function taken(take) {
    if (mode() === "tuner") return tuned(take);
    if (!questions().length) return stop("");
    const told = judged(take);
    say(`${told.label}: ${told.text}`, told.kind);
    if (mode() === "chord") return stop();
    if (MARKS[told.kind] === "right") {
      done = model.get("now") === questions().length - 1;
      if (done) return stop(`${told.label}: ${told.text} – all ${questions().length} played`);
      set({ now: model.get("now") + 1 });
    }
    show();
  }
  function measure(block) {
    const rate = microphone.rate;
    let peak = 0;
    let power = 0;
    for (const value of block) {
      peak = Math.max(peak, Math.abs(value));
      power += value * value;
    }
    meter.value = Math.max(-60, 20 * Math.log10(peak + 1e-6));
    if (peak > CLIPPED) clipped = count;
    const loud = clipped > 0 && count - clipped < rate;
    const lit = loud ? `● ${TOO_LOUD}` : "● microphone on";
    light.classList.toggle("listener-loud", loud);
    if (light.textContent !== lit) light.textContent = lit;
    return power / block.length;
  }
  function heard(block) {
    if (!microphone) return;
    blocks.push(block);
    count += block.length;
    const rate = microphone.rate;
    while (blocks.length * BLOCK > 4 * rate) blocks.shift();
    const power = measure(block);
    if (mode() === "phrase") return beaten();
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
      const strum = from + (EAR.onset(take).start / EAR.RATE) * rate;
      if (strum > onset + 0.2 * rate) return void (onset = strum); // a noise came before the strum: hear the strum out
      [onset, since] = [null, count];
      taken(take);
    } else if (onset === null && mode() !== "tuner" && count - since > PATIENCE_S * rate) {
      since = count;
      taken(cut(count - 2 * rate, count));
    }
  }
  // A phrase: two beats are counted in, then a chord a beat, each judged when its time has passed; beats are only seen.
  function beaten() {
    const period = 60 / model.get("tempo");
    const now = count / microphone.rate;
    const place = marks.length;
    const at = (2 + place) * period;
    if (now < 2 * period) return void (beat.textContent = `${4 - Math.floor((2 * now) / period)} …`);
    const question = questions()[place];
    if (now >= at && beat.dataset.place !== String(place)) {
      beat.dataset.place = place;
      beat.textContent = `◆ ${place + 1} · ${question.label}`;
      set({ now: place });
      show();
    }
    if (now < at + LATE_S) return;
    const told = judged(cut(count - (EARLY_S + LATE_S) * microphone.rate, count));
    marks.push(MARKS[told.kind] ?? "off");
    rows.append(make("li", "row", `${question.label}: ${marks[place]} – ${told.text}`));
    if (place < questions().length - 1) return;
    set({ now: 0 });
    const of = (mark) => marks.filter((one) => one === mark).length;
    stop(`the phrase is over: ${["right", "not sure", "off"].map((mark) => `${of(mark)} ${mark}`).join(", ")}`);
  }
  async function start() {
    const mine = ++opening;
    say("");
    release = silence(() => {
      release = null;
      stop("another box listens now");
    });
    show();
    try {
      const opened = await openMicrophone(heard, () => stop("the microphone is gone: plug it in and press listen"));
      if (mine !== opening) return opened.stop(); // stopped or closed meanwhile
      microphone = opened;
    } catch (trouble) {
      if (mine === opening) stop(`no microphone: ${WHY[trouble.name] ?? trouble.message}; all else works`);
      return;
    }
    if (questions().length) EAR.hear(new Float32Array(1e5), microphone.rate, questions()[0], model.get("weights")); // builds its tables
    [blocks, count, level, onset, since, clipped, awake, marks] = [[], 0, 1e-6, null, 0, 0, 0, []];
    rows.replaceChildren();
    delete beat.dataset.place;
    if (mode() === "phrase") set({ now: 0, verdicts: [] });
    if (done) set({ now: 0 });
    done = false;
    show();
  }
  const press = () => (release ? stop("") : start());
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
