// The bar that a teacher pulls out: what it changes goes to the kernel, into the address, and the steps below follow.
"use strict";

const ADDRESS = "lesson";

function control({ kind, name }) {
  if (kind === "one of") return [made("select")];
  const one = (label) => {
    const box = made("input");
    box.type = kind === "text" ? "text" : "number";
    if (kind === "text") box.maxLength = 20;
    if (label) box.setAttribute("aria-label", label);
    return box;
  };
  return kind === "two numbers" ? [one(`first of the ${name}`), one(`last of the ${name}`)] : [one()];
}

function openBar(live, wall) {
  const pull = document.querySelector(".pull");
  const knob = document.querySelector("button.set");
  const asked = new URLSearchParams(location.search).get(ADDRESS) ?? sessionStorage.getItem(ADDRESS) ?? "";
  const lines = new Map(); // of each field, its boxes
  let taken = {};

  function read(field, boxes) {
    const [first, last] = boxes.map((box) => (field.kind === "one of" || field.kind === "text" ? box.value : Number(box.value)));
    return field.kind === "two numbers" ? [first, last] : first;
  }

  function build(fields) {
    lines.clear();
    pull.replaceChildren();
    for (const field of fields) {
      const boxes = control(field);
      lines.set(field.name, boxes);
      boxes.forEach((box, number) => (box.name = `${field.name}-${number}`));
      const line = pull.appendChild(made("label", "", field.label));
      line.append(...boxes);
      line.addEventListener("change", () => set(field, read(field, boxes)));
    }
    const back = pull.appendChild(made("button", "as-written", "As written"));
    back.type = "button";
    back.addEventListener("click", () => apply({}));
  }

  // what there is to choose from, and what is set; what is just being typed stays
  function fill(field) {
    for (const [number, box] of lines.get(field.name).entries()) {
      const typing = box === document.activeElement && box.value !== box.dataset.set;
      const now = String(field.kind === "two numbers" ? field.now[number] : field.now);
      const choices = JSON.stringify(field.choices);
      if (field.kind === "one of" && box.dataset.choices !== choices) {
        box.replaceChildren(...field.choices.map(([value, words]) => Object.assign(made("option", "", words), { value })));
        box.dataset.choices = choices;
      } else if (field.kind.includes("number")) {
        Object.assign(box, { min: field.least, max: field.most, step: field.by ?? 1 });
      }
      if (!typing) box.value = now;
      box.dataset.set = now;
    }
  }

  function show(described) {
    if (!described?.fields) return;
    const { fields, wrong } = described;
    knob.disabled = false;
    if (fields.map(({ name }) => name).join() !== [...lines.keys()].join()) build(fields);
    fields.forEach(fill);
    pull.querySelector(".wrong")?.remove();
    if (wrong.length) {
      const said = pull.appendChild(made("p", "wrong", wrong.join(" ")));
      said.setAttribute("role", "alert");
      open(true);
    }
  }

  function set(field, value) {
    const others = Object.entries(taken).filter(([name]) => field.name !== "tune" || name !== "bars");
    apply({ ...Object.fromEntries(others), [field.name]: value });
  }

  const apply = async (settings) => show(await live.setLesson(note(settings)));

  // what is set stands in the address; the class's tune, with its key, and reach go along to the next chapter
  function note(settings) {
    taken = settings;
    const text = inText(settings);
    const address = new URL(location.href);
    address.searchParams.delete(ADDRESS);
    if (text) address.searchParams.set(ADDRESS, text);
    history.replaceState(null, "", address);
    const { tune, key, reach_mm } = settings;
    sessionStorage.setItem(ADDRESS, inText({ ...(tune && { tune, key }), reach_mm }));
    return text;
  }

  function inText(settings) {
    const text = JSON.stringify(settings);
    return text === "{}" ? "" : text;
  }

  function open(yes) {
    pull.hidden = !yes;
    knob.setAttribute("aria-expanded", String(yes));
    if (yes) pull.querySelector("select, input")?.focus();
    else wall.take();
  }

  knob.addEventListener("click", () => open(pull.hidden));
  pull.addEventListener("submit", (event) => event.preventDefault());
  wall.keys.s = () => !knob.disabled && open(pull.hidden);

  let text = asked;
  try {
    const given = JSON.parse(asked || "{}");
    if (given && typeof given === "object" && !Array.isArray(given)) text = note(given);
  } catch {
    // no settings: the kernel says so
  }
  return live.setLesson(text).then(show);
}
