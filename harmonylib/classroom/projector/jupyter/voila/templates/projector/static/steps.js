// One step at a time: buttons, keys and addresses go from one to another. `openWall` is called when the page is there.
"use strict";

const FORWARD = ["ArrowRight", "PageDown"];
const BACKWARD = ["ArrowLeft", "PageUp"];
const SLACK = 8; // pixels that are not worth scrolling
const TIGHT = 60 / 720; // of the window: so much too high, and a step is drawn together
const LARGE = [1.9, 1.6, 1.3]; // times the usual letters, where a step has few
const CONTROLS = "input, select, textarea, audio, [role=application], [role=slider], .noUi-handle, .block-player";

// the kernel ends with the page, also while the chapter still runs
window.addEventListener("pagehide", () => {
  const { kernel, baseUrl } = document.body.dataset;
  if (!kernel) return;
  const farewell = new FormData();
  farewell.append("_xsrf", /\b_xsrf=([^;]*)/.exec(document.cookie)?.[1] ?? "");
  navigator.sendBeacon(`${baseUrl}api/shutdown/${kernel}`, farewell);
});
window.addEventListener("pageshow", (event) => event.persisted && location.reload()); // its kernel is gone
window.display_cells = () => {}; // Voila's script would show its own frame

window.openWall = () => {
  putStored();
  const frame = document.querySelector(".steps");
  const parted = [".back", ".next", ".told", ".dark", ".black", ".goto", ".lost"];
  const [back, next, said, dark, black, list, lost] = parted.map((name) => document.querySelector(name));
  let steps = [];
  let now = 0;
  let parts = null; // of a step that is too high
  let part = 0;
  let turned = false; // whether anyone has gone to another step yet

  const below = () => part < (parts?.count ?? 1) - 1 || frame.scrollHeight - frame.clientHeight - frame.scrollTop > SLACK;
  const above = () => part > 0 || frame.scrollTop > SLACK;

  function told() {
    back.disabled = now === 0 && !above();
    next.disabled = now === steps.length - 1 && !below();
    const more = below() ? "More ⌄" : "Next ›";
    if (next.textContent !== more) next.textContent = more;
  }

  // steps that show nothing are left out; a cell that never ran may still show something
  function count() {
    const here = steps[now];
    for (const step of document.querySelectorAll(".step")) {
      step.classList.add("now"); // text is read only where it is laid out
      const filled = step.innerText.trim() || step.querySelector("svg, img, audio, video, .widget, .cell[data-ran='']");
      if (!filled) step.remove();
      step.classList.toggle("now", step === here);
    }
    const before = steps.slice(0, now + 1).filter((step) => step.isConnected);
    steps = [...document.querySelectorAll(".step")];
    now = Math.max(0, before.length - 1); // where the step itself is left out, the one before it
    const named = steps.map((step, place) => `${place + 1} · ${step.dataset.section.replace(/^\d+ · /, "")}`);
    list.replaceChildren(...named.map((name, place) => new Option(name, place)));
  }

  function place() {
    const over = () => frame.scrollHeight - frame.clientHeight;
    parts?.whole();
    steps[now].classList.remove("tight", "large");
    for (const table of steps[now].querySelectorAll(".lesson-table")) lay(table);
    enlarge(over);
    steps[now].classList.toggle("tight", over() > 0 && over() <= TIGHT * innerHeight);
    const cut = () => (over() > SLACK ? partsOf(steps[now], over()) : null);
    parts = cut();
    if (!parts && over() > SLACK && handOn()) parts = cut();
    part = Math.min(part, (parts?.count ?? 1) - 1);
    parts?.show(part);
    document.querySelector(".title").textContent = steps[now].dataset.section;
    list.value = now;
    document.querySelector(".position").textContent = `Step ${now + 1} of ${steps.length}`;
    window.dispatchEvent(new Event("resize")); // widgets laid out while hidden measure again
    told();
  }

  // a sound that has no room under any part of its picture opens the next step
  function handOn() {
    const sound = steps[now].lastElementChild;
    if (!sound?.dataset.sound || !steps[now + 1]) return false;
    steps[now + 1].prepend(sound);
    return true;
  }

  // a step of few words is written large, as large as it may be
  function enlarge(over) {
    const step = steps[now];
    const asks = (one) => one.matches(".widget:has(.answer-box)");
    const drawn = [...step.querySelectorAll("svg, img, .widget, .wide, .told, .fold")];
    if (drawn.some((one) => one.checkVisibility() && !asks(one))) return;
    step.classList.add("large");
    const wide = () => [...step.querySelectorAll(".lesson-table")].some((table) => table.offsetWidth > table.parentElement.clientWidth);
    for (const size of LARGE) {
      step.style.setProperty("--large", size);
      if (over() <= 0 && !wide()) return;
    }
    step.classList.remove("large");
  }

  // a table with several columns of sentences gives each of them the whole width, under its line
  function lay(table) {
    table.classList.remove("wide", "told");
    const heads = [...table.tHead.rows[0].cells];
    const told = heads.map((cell) => cell.style.whiteSpace === "normal");
    if (told.filter(Boolean).length > 1 && table.offsetWidth >= 0.98 * table.parentElement.clientWidth) {
      table.classList.add("told");
      table.style.setProperty("--columns", told.filter((yes) => !yes).length);
      for (const row of table.rows) {
        const last = [...row.cells].filter((_, place) => told[place]);
        last.forEach((cell, place) => (cell.dataset.head = heads.filter((_, n) => told[n])[place].textContent));
        row.append(...last);
      }
    }
    table.classList.toggle("wide", table.offsetWidth > table.parentElement.clientWidth);
  }

  const take = () => frame.focus({ preventScroll: true });

  function show(step) {
    turned = true;
    parts?.whole();
    parts = null;
    part = 0;
    now = Math.max(0, Math.min(step, steps.length - 1));
    steps.forEach((one, number) => one.classList.toggle("now", number === now));
    frame.scrollTop = 0;
    const address = new URL(location.href);
    address.hash = `#step-${now + 1}`;
    history.replaceState(null, "", address);
    place();
    take();
  }

  // what does not fit the window comes in parts, or is scrolled through, so that two buttons reach everything
  function go(way) {
    if (parts && part + way >= 0 && part + way < parts.count) {
      part += way;
      parts.show(part);
      frame.scrollTop = 0;
      told();
    } else if (way > 0 ? below() : above()) {
      frame.scrollTop += way * 0.85 * frame.clientHeight;
      told();
    } else if (steps[now + way]) {
      show(now + way);
    }
  }

  const asked = () => Number(/^#step-(\d+)$/.exec(location.hash)?.[1] ?? 1) - 1;
  back.addEventListener("click", () => go(-1));
  next.addEventListener("click", () => go(1));
  frame.addEventListener("scroll", told);
  frame.addEventListener("toggle", place, true); // a line is opened, or a box turned from its picture to its neck
  const outgrown = () => !parts && steps[now]?.querySelector(WRITTEN) && frame.scrollHeight - frame.clientHeight > SLACK;
  const resized = new ResizeObserver(() => (outgrown() ? place() : told())); // the first note brings a player
  new ResizeObserver(() => steps.length && place()).observe(frame);
  window.addEventListener("hashchange", () => asked() !== now && show(asked()));

  // a remote sends page keys, which always turn the page; other keys are left to a control that is in use
  let typed = "";
  const inUse = (target) => (target.closest?.(CONTROLS) ? target : null);
  function tell() {
    const held = inUse(document.activeElement) ? "Esc: arrows turn pages" : "";
    const line = typed ? `Enter: step ${typed}` : held;
    if (said.textContent !== line) said.textContent = line;
  }
  const keys = {
    PageDown: () => go(1),
    PageUp: () => go(-1),
    ArrowRight: () => go(1),
    ArrowLeft: () => go(-1),
    Home: () => show(0),
    End: () => show(steps.length - 1),
    b: () => darken(true),
    ".": () => darken(true), // as some remotes have it
    Escape: take,
  };
  function darken(yes) {
    dark.hidden = !yes;
    if (yes) dark.focus();
    else take();
  }
  function press(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey || event.key === "Tab") return false;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (!dark.hidden) {
      if (!event.repeat) darken(false); // any key brings the wall back, and does nothing else
      return true;
    }
    if (inUse(event.target) && !key.startsWith("Page") && key !== "Escape") return false;
    const number = typed;
    typed = /^\d$/.test(key) ? `${typed}${key}`.slice(0, 4) : "";
    if (typed) return true;
    if (key === "Enter" && number) show(Number(number) - 1);
    else if (key !== "Escape" || !number) return Boolean(keys[key]) && (keys[key](), true);
    return true;
  }
  window.addEventListener(
    "keydown",
    (event) => {
      if (press(event)) {
        event.preventDefault();
        event.stopPropagation();
      }
      tell();
    },
    true,
  );
  dark.addEventListener("click", () => darken(false));
  black.addEventListener("click", () => darken(true));
  list.addEventListener("change", () => show(Number(list.value)));
  document.addEventListener("focusin", tell);
  document.addEventListener("focusout", () => setTimeout(tell));

  count();
  steps.forEach((step) => resized.observe(step));
  const linked = asked();
  if (steps.length) show(linked);
  turned = false;

  function changed(cell) {
    if (steps[now]?.contains(cell)) place();
  }
  async function live() {
    const warn = (words) => Object.assign(lost, { textContent: words, hidden: !words });
    const wall = { keys, take, changed, warn };
    await openBar(await comeAlive(wall), wall);
    if (!steps.length) return;
    count();
    show(turned ? now : linked); // a link counts the steps of the chapter that has run
  }
  live();
};

// the contents: page and arrow keys move along the chapters, Enter opens one
function openContents() {
  const links = [...document.querySelectorAll(".contents a")];
  window.addEventListener("keydown", (event) => {
    const way = [...FORWARD, "ArrowDown"].includes(event.key) ? 1 : [...BACKWARD, "ArrowUp"].includes(event.key) ? -1 : 0;
    if (!way || !links.length) return;
    event.preventDefault();
    const at = links.indexOf(document.activeElement);
    links[at < 0 ? 0 : Math.max(0, Math.min(at + way, links.length - 1))].focus();
  });
}
