// What is seen of a player: controls, the engraving with its cursor, the line that says what sounds.

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
    this.paper = make("div", { className: "block-player-paper", tabIndex: 0, aria: { role: "group", label: "Score" } });
    this.form = this.#switch("once", "Once, as written");
    const wall = this.model.get("line_by_line"), row = (...parts) => make("div", { className: "block-player-row" }, ...parts);
    const [tempo, ...others] = SLIDERS.map(slider => this.#slider(...slider));
    if (this.model.get("brief")) {
      this.root.classList.add("block-player-brief");
      this.play.title = score.caution;
      const volume = this.model.get("theme").startsWith("projector") ? [] : [others[0]]; // a class has a loudspeaker
      this.root.append(row(this.play, this.line, tempo, ...volume, this.#switch("loop", "Loop")), this.said);
    } else this.root.append(
      row(this.play, this.line),
      row(tempo, ...(wall ? [] : others)),
      row(this.#bars("first", "From bar"), this.#bars("last", "to bar"),
        this.#switch("loop", "Loop"), this.form, this.#switch("click", "Click"), this.#countIn(),
        make("span", { className: "block-player-caution" }, score.caution)),
      wall ? this.#practice("More", ...others) : this.#practice("Practise"),
      this.said,
      this.paper,
    );
    this.lines = wall ? new Lines(this.paper) : null;
    if (wall) this.root.append(row(this.lines.turner));
    el.append(this.root);
    this.#keepKeys();
    this.#listen(this.play, "click", () => this.#write("playing", !this.model.get("playing")));
    this.#listen(this.root, "keydown", event => {
      if (event.key !== " " || event.target.closest("button, select, input[type=checkbox]")) return;
      event.preventDefault();
      this.#write("playing", !this.model.get("playing"));
    });
    this.#listen(this.paper, "click", event => this.#point(eventAt(this.paper, event.clientX, event.clientY)));
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

  // The sounding event: its line of text, its chord in the notation and in the tablature, each on a ground of its own;
  // where the form leads elsewhere and back, also which part of the way it is.
  show(number, part, parts) {
    const row = this.model.get("score").events[number];
    this.line.textContent = parts > 1 ? `${row.text}, part ${part + 1} of ${parts} as played` : row.text;
    this.#unlight();
    const notes = this.notes.get(row.id);
    if (!notes) return;
    this.lines?.lead(notes[0]);
    const measure = notes[0].closest("g.measure"), chords = notes.map(note => note.closest("g.chord") ?? note);
    const middle = element => (({ x, width }) => x + width / 2)(element.getBBox()), at = middle(chords[0]);
    const away = element => Math.abs(middle(element) - at);
    const frets = [...measure.querySelectorAll("g.tabGrp")].sort((one, other) => away(one) - away(other))[0];
    for (const chord of [...chords, ...(frets ? [frets] : [])]) {
      chord.classList.add("block-player-now");
      this.#ground(chord);
    }
    const [chord, box] = [chords[0].getBoundingClientRect(), this.paper.getBoundingClientRect()];
    if (chord.top < box.top || chord.bottom > box.bottom) this.paper.scrollTop += chord.top - box.top - 40;
  }

  #ground(chord) {
    const { x, y, width, height } = chord.getBBox(), margin = 90;
    const ground = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    const place = { x: x - margin, width: width + 2 * margin, y: y - margin, height: height + 2 * margin, rx: margin };
    for (const [name, value] of Object.entries(place)) ground.setAttribute(name, value);
    ground.setAttribute("class", "block-player-ground");
    ground.style.stroke = "none"; // the engraving's own style sheet gives every rect a stroke
    chord.closest("g.measure").prepend(ground);
  }

  close() {
    this.end.abort();
    this.lines?.close();
    for (const [name, listener] of this.listeners) this.model.off(name, listener);
    this.instrument.leave(this);
    this.root.remove();
  }

  // What is pointed at while nothing sounds is shown as if it sounded.
  #point(id) {
    const number = this.model.get("playing") ? -1 : this.model.get("score").events.findIndex(row => row.id === id);
    if (!id || number < 0) return;
    this.#write("now", number);
    this.show(number, 0, 1);
  }

  #turned(playing) {
    this.play.textContent = playing ? "■ Stop" : "▶ Play";
    this.play.setAttribute("aria-label", playing ? "Stop" : "Play");
    const bars = this.model.get("brief") ? "" : ` from bar ${this.model.get("first")} to ${this.model.get("last")}`;
    if (hushed()) this.said.textContent = "The page is silent while a box listens";
    else if (playing) this.said.textContent = `Playing${bars}`;
    else if (this.said.textContent) this.said.textContent = `Stopped at ${this.line.textContent}`;
    if (!playing) this.#unlight();
  }

  #unlight() {
    for (const note of this.paper.querySelectorAll(".block-player-now")) note.classList.remove("block-player-now");
    for (const ground of this.paper.querySelectorAll(".block-player-ground")) ground.remove();
  }

  #engrave(svg) {
    this.paper.replaceChildren();
    this.paper.hidden = !svg;
    this.notes = new Map();
    if (!svg) return;
    const page = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
    this.paper.append(document.importNode(page, true));
    this.lines?.load();
    this.#keepKeys();
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

  // A ladder of tempos says where it is.
  tell(tempo) {
    this.said.textContent = `At ${Math.round(tempo)}`;
  }

  #countIn() {
    return this.#choice("count_in", "Count-in", ["none", "1 bar", "2 bars"]);
  }

  #practice(name, ...more) {
    const faster = [0, 2, 4, 6, 8, 10, 12, 16, 20].map(value => [value, value ? `${value} faster` : "same tempo"]);
    const times = [1, 2, 3, 4, 6, 8].map(value => [value, value === 1 ? "once" : `${value} times`]);
    const fastest = make("input", { type: "number", min: 10, max: 600, step: 1 });
    this.#follow("fastest", value => (fastest.value = value));
    this.#listen(fastest, "change", () => fastest.checkValidity() && this.#write("fastest", fastest.valueAsNumber));
    return make("details", { className: "block-player-practice" },
      make("summary", {}, name),
      make("div", { className: "block-player-row" }, ...more,
        this.#choice("rest", "Rest before each loop", ["none", "1 bar", "2 bars"]),
        this.#switch("backbeat", "Click on 2 and 4"),
        this.#choice("step", "Each tempo", faster), make("label", {}, make("span", {}, "up to"), fastest),
        this.#choice("times", "played", times)));
  }

  // A menu of words, or of [value, words].
  #choice(name, label, words) {
    const pairs = words.map((text, value) => (Array.isArray(text) ? text : [value, text])), select = make("select");
    for (const [value, text] of pairs) select.append(make("option", { value }, text));
    this.#follow(name, value => {
      if (pairs.every(([known]) => known !== value)) {
        pairs.push([value, String(value)]);
        select.append(make("option", { value }, String(value)));
      }
    });
    return this.#select(name, label, select);
  }

  #bars(name, label) {
    const select = make("select");
    this.#follow("score", ({ bars }) => {
      const [low, high] = this.model.get("within") ?? [], inside = number => !(number < low || number > high);
      const numbers = [...new Set(bars.map(bar => bar.number))].filter(inside);
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
