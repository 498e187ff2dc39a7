// The bar that a teacher pulls out: what it changes goes to the kernel, into the address, and the steps below follow.
"use strict";

const ADDRESS = "lesson";

function control(field) {
  const { kind, name, choices = [], least, most, by } = field;
  if (kind === "one of") {
    const list = made("select");
    list.append(...choices.map(([value, words]) => Object.assign(made("option", "", words), { value })));
    return [list];
  }
  const one = (label) => {
    const box = made("input");
    box.type = kind === "text" ? "text" : "number";
    if (kind === "text") box.maxLength = 20;
    else Object.assign(box, { min: least, max: most, step: by ?? 1 });
    if (label) box.setAttribute("aria-label", label);
    return box;
  };
  return kind === "two numbers" ? [one(`first of the ${name}`), one(`last of the ${name}`)] : [one()];
}

function openBar(live, wall) {
  const pull = document.querySelector(".pull");
  const knob = document.querySelector("button.set");
  const asked = new URLSearchParams(location.search).get(ADDRESS) ?? "";
  let taken = {};
  let drawn = "";

  function read(field, boxes) {
    const [first, last] = boxes.map((box) => (field.kind === "one of" || field.kind === "text" ? box.value : Number(box.value)));
    return field.kind === "two numbers" ? [first, last] : first;
  }

  function show(described) {
    if (!described?.fields) return;
    const { fields, wrong } = described;
    knob.disabled = false;
    if (drawn !== JSON.stringify(fields)) {
      const held = document.activeElement?.closest?.(".pull [name]")?.name;
      drawn = JSON.stringify(fields);
      pull.replaceChildren();
      for (const field of fields) {
        const boxes = control(field);
        const line = pull.appendChild(made("label", "", field.label));
        for (const [number, box] of boxes.entries()) {
          box.name = `${field.name}-${number}`;
          box.value = boxes.length > 1 ? field.now[number] : field.now;
          line.append(box);
        }
        line.addEventListener("change", () => set(field, read(field, boxes)));
      }
      const back = pull.appendChild(made("button", "as-written", "As written"));
      back.type = "button";
      back.addEventListener("click", () => apply({}));
      if (held) pull.querySelector(`[name="${held}"]`)?.focus();
    }
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

  async function apply(settings) {
    taken = settings;
    const text = Object.keys(settings).length ? JSON.stringify(settings) : "";
    const address = new URL(location.href);
    address.searchParams.delete(ADDRESS);
    if (text) address.searchParams.set(ADDRESS, text);
    history.replaceState(null, "", address);
    show(await live.setLesson(text));
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

  try {
    const given = JSON.parse(asked || "{}");
    if (given && typeof given === "object" && !Array.isArray(given)) taken = given;
  } catch {
    taken = {}; // no settings: the kernel says so
  }
  return live.setLesson(asked).then(show);
}
