// What is higher than the wall is shown in parts, cut between the rows of a table, a list, a text or a row of grips.
"use strict";

const ROWS = { table: ":scope > tbody > tr", "ul, ol": ":scope > li", ".lines": ":scope > div" };
const ALIVE = ".neck-board, .score-music, .block-player-paper"; // pictures that page by themselves, or are played on
const WRITTEN = ".tune-form:has(.block-player)";
const EDGE = 6; // pixels of white left round a part of a picture
const BOARD = 0.4; // of the highest thing drawn in one piece: what is no line of words
const WIDE = 0.75; // of the widest gap that there is
const DRAWN = "path, use, text, image, polygon, ellipse, rect";

// Both ends of what elements take of the height, in pixels of the window.
function spread(elements) {
  const boxes = elements.map((one) => one.getBoundingClientRect()).filter((box) => box.height);
  return [Math.min(...boxes.map((box) => box.top)), Math.max(...boxes.map((box) => box.bottom))];
}

// The rows of a list or table, each with its height and how it is shown or hidden.
function listRows(list, rows) {
  if (list.matches("ol")) rows.forEach((row, place) => (row.value = place + (list.start || 1))); // numbers stay
  return rows.map((row) => {
    const [top, bottom] = spread([row, ...row.children]);
    return { high: Math.max(0, bottom - top), part: (yes) => (row.hidden = !yes) };
  });
}

// The heights at which a picture may be cut: where nothing is drawn from one side to the other.
function bands(svg) {
  const whole = svg.getBoundingClientRect();
  const boxes = [...svg.querySelectorAll(DRAWN)].map((one) => one.getBoundingClientRect());
  const drawn = boxes.filter((box) => box.height && box.height < 0.8 * whole.height).sort((a, b) => a.top - b.top);
  const found = [];
  for (const { top, bottom } of drawn) {
    if (found.length && top <= found.at(-1)[1] + 1) found.at(-1)[1] = Math.max(found.at(-1)[1], bottom);
    else found.push([top, bottom]);
  }
  return found.map(([top, bottom]) => [top - whole.top, bottom - whole.top]);
}

// A picture's parts: as much in each as there is room for, cut in a wide gap.
function pictureParts(svg, room) {
  const view = svg.viewBox.baseVal;
  const { width, height } = view;
  const scale = height / svg.getBoundingClientRect().height;
  const lines = bands(svg);
  const inner = svg.querySelector(":scope > svg"); // keeps its size when the outer one shows a part
  if (inner) Object.entries({ width, height }).forEach(([name, value]) => inner.setAttribute(name, value));
  if (!lines.length) return null;
  const highest = Math.max(...lines.map(([top, bottom]) => bottom - top));
  const holds = (low, high) => lines.slice(low, high).some(([top, bottom]) => bottom - top > BOARD * highest); // not captions alone
  const wide = (place) => lines[place][0] - lines[place - 1][1];
  const places = lines.map((_, place) => place).slice(1); // each is a cut over its line
  const sameBoards = (one) => places.filter((other) => !holds(Math.min(one, other), Math.max(one, other)));
  const open = places.filter((place) => wide(place) >= WIDE * Math.max(...sameBoards(place).map(wide))); // captions stay with theirs
  const high = (low, next) => lines[next - 1][1] - lines[low][0] + 2 * EDGE;
  const starts = [0];
  while (high(starts.at(-1), lines.length) > room) {
    const from = starts.at(-1);
    const fit = open.filter((place) => place > from && high(from, place) <= room && holds(from, place) && holds(place));
    if (!fit.length) return null;
    const widest = Math.max(...fit.map(wide));
    starts.push(fit.findLast((place) => wide(place) >= WIDE * widest));
  }
  const cuts = starts.map((from, part) => [Math.max(0, lines[from][0] - EDGE), high(from, starts[part + 1] ?? lines.length)]);
  svg.style.overflow = "hidden";
  for (const size of ["width", "height"]) svg.removeAttribute(size); // or a part would stay as high as the whole
  const show = (part) => svg.setAttribute("viewBox", `0 ${cuts[part][0] * scale} ${width} ${cuts[part][1] * scale}`);
  return { count: cuts.length, show, whole: () => svg.setAttribute("viewBox", `0 0 ${width} ${height}`) };
}

// A question that leaves no room for its picture stands alone first, and large; then the picture, above the same form.
function questionParts(svg, over) {
  const box = svg.closest(".answer-box");
  const asked = box?.querySelector(".answer-question");
  const parts = asked && pictureParts(svg, svg.getBoundingClientRect().height - over + asked.offsetHeight);
  if (!parts) return null;
  function show(part) {
    box.dataset.part = part ? "picture" : "question";
    if (part) parts.show(part - 1);
  }
  return { count: parts.count + 1, show, whole: () => (delete box.dataset.part, parts.whole()) };
}

// A form that takes a tune down: first its fields over the neck, then the player with what was written.
function formParts(form) {
  function show(part) {
    form.dataset.part = part ? "music" : "neck";
    window.dispatchEvent(new Event("resize")); // the player was hidden and measures again
  }
  return { count: 2, show, whole: () => delete form.dataset.part };
}

// Which part each row goes to where a part is so high at most.
function dealt(rows, room) {
  const of = [];
  let [part, filled] = [0, 0];
  for (const { high } of rows) {
    if (filled && filled + high > room) [part, filled] = [part + 1, 0];
    filled += high;
    of.push(part);
  }
  return of;
}

// As few parts as there is room for, about as high as each other.
function rowParts(rows, room) {
  const last = dealt(rows, room).at(-1) ?? 0;
  let even = rows.reduce((sum, row) => sum + row.high, 0) / (last + 1);
  while (even < room && dealt(rows, even).at(-1) > last) even += 4;
  const of = dealt(rows, Math.min(even, room));
  const show = (now) => rows.forEach((row, place) => row.part(of[place] === now));
  return { count: last + 1, show, whole: () => rows.forEach((row) => row.part(true)) };
}

// The parts of a step that is so many pixels too high: those of the highest thing in it that can be cut.
function partsOf(step, over) {
  const form = step.querySelector(WRITTEN);
  if (form) return formParts(form);
  const seen = (one) => one.checkVisibility() && !one.closest(ALIVE);
  const things = [...step.querySelectorAll([...Object.keys(ROWS), "svg:not(svg svg)"].join())].filter(seen);
  const high = (one) => one.getBoundingClientRect().height;
  for (const thing of things.sort((a, b) => high(b) - high(a))) {
    if (high(thing) < over) break;
    const kind = Object.keys(ROWS).find((selector) => thing.matches(selector));
    const rows = kind ? listRows(thing, [...thing.querySelectorAll(ROWS[kind])]) : [];
    const total = rows.reduce((sum, row) => sum + row.high, 0);
    const parts = kind ? rowParts(rows, total - over) : pictureParts(thing, high(thing) - over) ?? questionParts(thing, over);
    if (parts && (parts.count > 1 || !kind)) return parts;
  }
  return null;
}
