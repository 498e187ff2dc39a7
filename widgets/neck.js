// Lays the marks that harmonylib.diagrams drew where its frame says they lie; turns a click or a key into a place.
const SVG = "http://www.w3.org/2000/svg";
const KEYS = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
const HELP = "Arrow keys move over strings and frets, Home and End to the ends, Enter marks.";

function made(tag, name, parent, attributes = {}) {
  const element = document.createElement(tag);
  element.className = name;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent.append(element);
  return element;
}

function render({ model, el }) {
  const leave = new AbortController();
  const listen = (target, event, act) => target.addEventListener(event, act, { signal: leave.signal });
  const heard = [];
  const follow = (names, act) => {
    for (const name of names) {
      model.on(`change:${name}`, act);
      heard.push([`change:${name}`, act]);
    }
  };

  el.classList.add("neck-view");
  nameSliders(el, leave.signal);
  const title = made("div", "neck-title", el);
  const board = made("div", "neck-board", el, { role: "application", tabindex: "0", "aria-roledescription": "neck" });
  board.setAttribute("data-lm-suppress-shortcuts", "true"); // or the notebook takes the arrows and Enter away
  const reading = made("div", "neck-reading", el, { "aria-live": "polite" });
  const spoken = made("div", "neck-spoken", el, { "aria-live": "assertive" });
  let page, svg, marks, picked, box, cover;

  function drawPage() {
    page = model.get("page");
    board.innerHTML = page.svg;
    board.setAttribute("aria-label", `${page.name}. ${HELP}`);
    svg = board.querySelector("svg");
    svg.querySelectorAll("title, desc").forEach((element) => element.remove());
    svg.setAttribute("aria-hidden", "true");
    [picked, marks] = [0, 1].map(() => svg.appendChild(document.createElementNS(SVG, "g")));
    marks.setAttribute("class", "neck-marks");
    picked.setAttribute("class", "neck-picked");
    box = svg.appendChild(document.createElementNS(SVG, "rect"));
    box.setAttribute("class", "neck-cursor");
    el.style.setProperty("--neck-ink", page.ink);
    el.style.setProperty("--neck-soft", page.soft);
    el.style.setProperty("--neck-paper", page.paper);
    el.style.setProperty("--neck-points", page.points);
    el.style.setProperty("--neck-most", page.most);
    cover = model.get("beside") ? svg.insertBefore(document.createElementNS(SVG, "path"), marks) : null;
    cover?.setAttribute("fill", page.paper);
    drawFrame();
    drawPicked();
    drawCursor();
  }

  function stamped([string, fret, label, role, top]) {
    const { x, y, svg: drawn } = model.get("stamps")[fret === null ? "idle" : `${role} ${label} ${Number(top)}`] ?? {};
    if (drawn === undefined) return "";
    return `<g transform="translate(${(fret ? page.x[fret] : openAt()) - x} ${page.y[string - 1] - y})">${drawn}</g>`;
  }

  const opened = () => (cover ? cover.column : page.open);
  const openAt = () => (opened()[0] + opened()[1]) / 2;

  // Beside music there is room for a part of the neck: the one that holds the frame, after the column of open strings.
  function drawPart(frame) {
    const width = model.get("beside"), gap = Math.abs(page.y[1] - page.y[0]);
    const turn = page.wires[0] < page.wires.at(-1) ? 1 : -1;
    const [nut, column] = [turn * page.open[0], Math.abs(page.open[1] - page.open[0])];
    const wires = frame.flatMap(([, fret]) => (fret ? [fret - page.first, fret - page.first + 1] : []));
    const along = wires.map((place) => turn * page.wires[place]);
    const middle = along.length ? (Math.min(...along) + Math.max(...along)) / 2 : nut;
    const end = turn * page.wires.at(-1) + 10;
    const start = Math.max(nut - 2, Math.min(middle - (width + column) / 2, end - width));
    const [top, bottom] = [page.y[0] - 0.75 * gap, page.tall - 0.5 * gap];
    const left = turn > 0 ? start : -start - width;
    svg.setAttribute("viewBox", `${left} ${top} ${width} ${bottom - top}`);
    cover.column = start > nut ? [turn * start, turn * (start + column)] : page.open;
    const edges = [turn * (start + width), ...(start > nut ? [turn * (start + column)] : [])];
    const numbers = Object.entries(page.x).filter(([fret, x]) => +fret && edges.some((edge) => Math.abs(x - edge) < page.digits));
    const over = (x, y, wide) => `M${x} ${y}h${wide}V${page.tall}h${-wide}z`;
    const hidden = numbers.map(([, x]) => over(x - page.digits, page.y.at(-1) + gap / 2, 2 * page.digits)); // none is cut in two
    if (start > nut) hidden.push(over(Math.min(...cover.column), 0, column));
    cover.setAttribute("d", hidden.join(""));
  }

  function drawFrame() {
    const frames = model.get("frames");
    const index = Math.max(0, Math.min(model.get("frame"), frames.length - 1));
    if (cover) drawPart(frames[index]);
    marks.innerHTML = frames[index].map(stamped).join("");
    title.textContent = model.get("titles")[index] ?? "";
    const [word, text] = ["words", "texts"].map((name) => model.get(name)[index] ?? "");
    const marked = document.createElement("span"); // where room is short it is read out and not seen
    marked.className = word ? "neck-marked" : "";
    marked.textContent = text.slice(word.length);
    reading.replaceChildren(word, marked);
  }

  function drawPicked() {
    picked.innerHTML = model.get("selected").map(([string, fret]) => stamped([string, fret, "", "plain", false])).join("");
  }

  function drawCursor() {
    const [string, fret] = model.get("cursor");
    const gap = Math.abs(page.y[1] - page.y[0]);
    const [one, two] = fret ? [page.wires[fret - page.first], page.wires[fret - page.first + 1]] : opened();
    const place = { x: Math.min(one, two), y: page.y[string - 1] - gap / 2, width: Math.abs(two - one), height: gap };
    for (const [key, value] of Object.entries(place)) box.setAttribute(key, value);
  }

  function say([string, fret]) {
    const frame = model.get("frames")[model.get("frame")] ?? [];
    const mark = frame.find((other) => other[0] === string && other[1] === fret);
    spoken.textContent = `string ${string}, ${fret ? `fret ${fret}` : "open"}${mark?.[2] ? `: ${mark[2]}` : ""}`;
  }

  function moveTo(place) {
    model.set("cursor", place);
    say(place);
  }

  function choose(place) {
    moveTo(place);
    if (model.get("picking")) {
      const rest = model.get("selected").filter(([string, fret]) => string !== place[0] || fret !== place[1]);
      model.set("selected", rest.length < model.get("selected").length ? rest : [...rest, place]);
    }
    model.set("clicks", model.get("clicks") + 1);
    model.save_changes();
  }

  function placeAt(event) {
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const gap = Math.abs(page.y[1] - page.y[0]);
    const string = page.y.reduce((near, line, n) => (Math.abs(line - y) < Math.abs(page.y[near] - y) ? n : near), 0) + 1;
    if (Math.abs(page.y[string - 1] - y) > 0.7 * gap) return null;
    const turn = page.wires[0] < page.wires.at(-1) ? 1 : -1;
    const passed = page.wires.filter((wire) => turn * (x - wire) > 0).length;
    const [outer, inner] = opened();
    if (passed === 0 || (x - outer) * (x - inner) < 0) return [string, 0];
    return [string, page.first + Math.min(passed, page.wires.length - 1) - 1];
  }

  listen(board, "click", (event) => {
    const place = placeAt(event);
    if (place) choose(place);
  });
  listen(document, "focusin", (event) => {
    // nor may they take the arrows from the menus and sliders of a panel
    if (event.target.closest?.(".neck-panel")) event.target.setAttribute("data-lm-suppress-shortcuts", "true");
  });
  listen(board, "focus", () => say(model.get("cursor")));
  listen(board, "keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const [string, fret] = model.get("cursor");
    const last = page.first + page.wires.length - 2;
    if (event.key in KEYS) {
      const turn = page.wires[0] < page.wires.at(-1) ? 1 : -1;
      const [down, right] = KEYS[event.key];
      const along = [0, ...page.wires.slice(1).map((_, n) => page.first + n)];
      const at = Math.max(0, Math.min(along.indexOf(fret) + turn * right, along.length - 1));
      moveTo([Math.max(1, Math.min(string + down, page.y.length)), along[at]]);
    } else if (event.key === "Home" || event.key === "End") {
      moveTo([string, event.key === "Home" ? 0 : last]);
    } else if (event.key === "Enter" || event.key === " ") {
      if (!event.repeat) choose([string, fret]);
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  });

  follow(["page"], drawPage);
  follow(["frames", "frame", "titles", "texts", "stamps"], drawFrame);
  follow(["selected", "stamps"], drawPicked);
  follow(["cursor"], drawCursor);
  drawPage();

  return () => {
    leave.abort();
    for (const [name, act] of heard) model.off(name, act);
    el.replaceChildren();
  };
}

export default { render };
