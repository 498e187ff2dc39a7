// Engraved music on a page: which note a place belongs to, and one line of it at a time where there is no room for more.

const REACH_PX = 24; // so near a note head or a fret number, a click is meant for it

const middleOf = element => (({ left, width }) => left + width / 2)(element.getBoundingClientRect());

// The event, as in n12 or a3, whose note head or fret number lies nearest to a place; empty where none is near.
function eventAt(music, x, y) {
  let [found, least] = [null, REACH_PX];
  for (const note of music.querySelectorAll("g.system:not(.music-aside) g.note")) {
    const box = (note.querySelector(".notehead") ?? note).getBoundingClientRect();
    const aside = Math.max(box.left - x, 0, x - box.right), over = Math.max(box.top - y, 0, y - box.bottom);
    const far = Math.hypot(aside, over);
    if (far < least) [found, least] = [note, far];
  }
  return found ? eventOf(found) : "";
}

// The event a note head or a fret number is part of: the id its top note carries in the notation.
function eventOf(note) {
  const named = group => [group, ...group.querySelectorAll("g.note")].map(one => /^[na]\d+(?=-|$)/.exec(one.id)?.[0]);
  if (!note.closest("g.tabGrp")) return named(note.closest("g.chord") ?? note).find(Boolean) ?? "";
  const at = middleOf(note), heads = [...note.closest("g.measure").querySelectorAll("g.chord, g.note")];
  const known = heads.filter(head => named(head).some(Boolean) && !head.closest("g.tabGrp"));
  const away = head => Math.abs(middleOf(head) - at);
  const nearest = known.sort((one, other) => away(one) - away(other))[0];
  return nearest ? named(nearest).find(Boolean) : "";
}

// One line of music at a time, and two buttons to the lines before and after it.
class Lines {
  constructor(paper) {
    Object.assign(this, { paper, at: 0, systems: [], boxes: null });
    this.turner = document.createElement("span");
    this.turner.className = "music-turner";
    this.buttons = [["‹", "The bars before", -1], ["›", "The bars after", 1]].map(([text, name, way]) => {
      const button = document.createElement("button");
      Object.assign(button, { type: "button", textContent: text });
      button.setAttribute("aria-label", name);
      button.addEventListener("click", () => this.turn(this.at + way));
      this.turner.append(button);
      return button;
    });
    this.watch = new ResizeObserver(() => this.turn(this.at)); // boxes are known once the page is laid out
    this.watch.observe(paper);
  }

  load() {
    const pages = [...this.paper.querySelectorAll("svg")];
    this.systems = [...this.paper.querySelectorAll("g.system")];
    this.boxes = null;
    for (const inner of pages.slice(1)) {
      const { width, height } = pages[0].viewBox.baseVal;
      if (pages.length === 2) Object.entries({ width, height }).forEach(pair => inner.setAttribute(...pair));
    }
    this.turn(this.at);
  }

  // Turn to the line that holds a note.
  lead(note) {
    const line = this.systems.indexOf(note?.closest("g.system"));
    if (line >= 0) this.turn(line);
  }

  turn(line) {
    this.at = Math.max(0, Math.min(line, this.systems.length - 1));
    this.turner.hidden = this.systems.length < 2;
    this.buttons.forEach((button, last) => (button.disabled = this.at === (last ? this.systems.length - 1 : 0)));
    this.systems.forEach((system, place) => system.classList.toggle("music-aside", place !== this.at));
    const svg = this.paper.querySelector("svg");
    if (!svg || !this.systems.length || !(this.boxes ??= this.#boxes(svg))) return;
    const { width } = svg.viewBox.baseVal, tall = Math.max(...this.boxes.map(box => box.height));
    svg.setAttribute("viewBox", `0 ${this.boxes[this.at].y} ${width} ${tall}`);
  }

  close() {
    this.watch.disconnect();
  }

  // Where each line lies on the page, with a little room; nothing while the page is not laid out.
  #boxes(svg) {
    if (!svg.getBoundingClientRect().width) return null;
    const page = svg.getScreenCTM().inverse(), room = 4;
    return this.systems.map(system => {
      const bars = [...system.querySelectorAll("g.measure")].map(bar => bar.getBoundingClientRect());
      const ends = [Math.min(...bars.map(bar => bar.top)), Math.max(...bars.map(bar => bar.bottom))];
      const [top, bottom] = ends.map(y => new DOMPoint(0, y).matrixTransform(page).y);
      return { y: top - room, height: bottom - top + 2 * room };
    });
  }
}

