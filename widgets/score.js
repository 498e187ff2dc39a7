// Shows engraved bars; the note in hand stands out, and a click on another takes that one in hand.
function render({ model, el }) {
  const leave = new AbortController();
  el.classList.add("score-view");
  nameSliders(el, leave.signal);
  const music = document.createElement("div");
  const words = document.createElement("div");
  music.className = "score-music";
  words.className = "score-words";
  words.setAttribute("aria-live", "polite");
  el.append(music, words);

  function drawNote() {
    music.querySelectorAll(".score-in-hand").forEach((note) => note.classList.remove("score-in-hand"));
    const id = `n${model.get("note")}`;
    music.querySelectorAll(`[id="${id}"], [id^="${id}-"]`).forEach((note) => note.classList.add("score-in-hand"));
  }
  function draw() {
    music.innerHTML = model.get("svg");
    drawNote();
  }
  function say() {
    words.textContent = model.get("text");
  }
  music.addEventListener(
    "click",
    (event) => {
      const found = /^n(\d+)/.exec(event.target.closest("g.note")?.id ?? "");
      if (!found) return;
      model.set("note", Number(found[1]));
      model.save_changes();
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
    model.off("change:svg", draw);
    model.off("change:note", drawNote);
    model.off("change:text", say);
    el.replaceChildren();
  };
}

export default { render };
