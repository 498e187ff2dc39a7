// Shows engraved bars; the note in hand stands out, and a click on another, on its heads or its frets, takes that in hand.
function render({ model, el }) {
  const leave = new AbortController();
  el.classList.add("score-view");
  nameSliders(el, leave.signal);
  const music = document.createElement("div");
  const words = document.createElement("div");
  music.className = "score-music";
  words.className = "score-words";
  words.setAttribute("aria-live", "polite");
  const lines = model.get("line_by_line") ? new Lines(music) : null;
  const under = document.createElement("div");
  under.className = "score-under";
  under.append(...(lines ? [lines.turner] : []), words);
  el.append(music, under);

  function drawNote() {
    music.querySelectorAll(".score-in-hand").forEach((note) => note.classList.remove("score-in-hand"));
    const id = `n${model.get("note")}`;
    const held = [...music.querySelectorAll(`[id="${id}"], [id^="${id}-"]`)];
    held.forEach((note) => note.classList.add("score-in-hand"));
    lines?.lead(held[0]);
  }
  function draw() {
    music.innerHTML = model.get("svg");
    lines?.load();
    drawNote();
  }
  function take(event) {
    if (!/^n\d/.test(event)) return false;
    model.set("note", Number(event.slice(1)));
    model.save_changes();
    return true;
  }
  function say() {
    words.textContent = model.get("text");
  }
  music.addEventListener(
    "click",
    (event) => take(eventAt(music, event.clientX, event.clientY)),
    { signal: leave.signal },
  );
  music.addEventListener(
    "keydown",
    (event) => {
      const note = [" ", "Enter"].includes(event.key) && event.target.closest("g.note");
      if (note && take(eventOf(note))) event.preventDefault();
    },
    { signal: leave.signal },
  );
  document.addEventListener(
    "focusin",
    (event) => {
      // the notebook's own shortcuts would take the arrows from the menus and sliders of a panel
      if (event.target.closest?.(".neck-panel")) event.target.setAttribute("data-lm-suppress-shortcuts", "true");
    },
    { signal: leave.signal },
  );
  model.on("change:svg", draw);
  model.on("change:note", drawNote);
  model.on("change:text", say);
  draw();
  say();

  return () => {
    leave.abort();
    lines?.close();
    model.off("change:svg", draw);
    model.off("change:note", drawNote);
    model.off("change:text", say);
    el.replaceChildren();
  };
}

export default { render };
