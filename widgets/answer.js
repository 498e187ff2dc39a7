// The form under a question: a field, menus that write into it, buttons, and a reply that is read out when it changes.
function made(tag, name, parent, text = "", attributes = {}) {
  const element = document.createElement(tag);
  if (name) element.className = name;
  element.textContent = text;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent?.append(element);
  return element;
}

let forms = 0;

function render({ model, el }) {
  const leave = new AbortController();
  const listen = (target, event, act) => target.addEventListener(event, act, { signal: leave.signal });
  const heard = [];
  const follow = (names, act) => {
    for (const name of names) {
      model.on(`change:${name}`, act);
      heard.push([`change:${name}`, act]);
    }
    act();
  };
  const count = (name) => {
    model.set(name, model.get(name) + 1);
    model.save_changes();
  };
  const write = (text) => {
    model.set("answer", text);
    model.save_changes();
  };

  forms += 1;
  const own = `answer-${forms}`;
  el.classList.add("answer-form");
  el.setAttribute("data-lm-suppress-shortcuts", "true"); // or the notebook takes the arrows and Enter away
  for (const [name, colour] of Object.entries(model.get("colours"))) el.style.setProperty(`--answer-${name}`, colour);

  const form = made("div", "", el);
  const choices = model.get("choices").map(([label, options], number) => {
    if (options.length > 4) {
      const row = made("label", "answer-row", form, label);
      const menu = made("select", "", row);
      made("option", "", menu, "choose", { value: "" });
      for (const [value, words] of options) made("option", "", menu, words, { value });
      listen(menu, "change", gather);
      return { options, read: () => menu.value, show: (value) => (menu.value = value) };
    }
    const group = made("fieldset", "answer-row", form);
    made("legend", "", group, label);
    const buttons = options.map(([value, words]) => {
      const row = made("label", "", group);
      const button = made("input", "", row, "", { type: "radio", name: `${own}-${number}`, value });
      row.append(words);
      listen(button, "change", gather);
      return button;
    });
    return {
      options,
      read: () => buttons.find((button) => button.checked)?.value ?? "",
      show: (value) => buttons.forEach((button) => (button.checked = button.value === value)),
    };
  });
  const row = made("div", "answer-row", form);
  made("label", "", row, model.get("label"), { for: own });
  const field = made("input", "answer-field", row, "", {
    id: own, type: "text", maxlength: "4000", autocomplete: "off", spellcheck: "false", "aria-describedby": `${own}-form`,
  });
  const check = made("button", "answer-check", row, "check", { type: "button" });
  const another = model.get("several") ? made("button", "", row, "another grip", { type: "button" }) : null;
  made("div", "answer-soft", form, model.get("form"), { id: `${own}-form` });
  const row2 = made("div", "answer-row", form);
  const hint = made("button", "", row2, "", { type: "button" });
  const tell = made("button", "", row2, "show a solution", { type: "button" });
  const tally = made("span", "answer-soft", row2);
  const said = made("div", "answer-said", el, "", { "aria-live": "polite" });
  const reply = made("div", "answer-reply", said);
  const told = made("div", "answer-told", said);
  const hints = made("ol", "answer-hints", said);

  function gather() {
    write(choices.map((choice) => choice.read()).filter(Boolean).join(", "));
  }

  listen(check, "click", () => count("checks"));
  listen(form, "keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT" || event.isComposing) return;
    event.preventDefault();
    count("checks");
  });
  listen(field, "input", () => write(field.value));
  if (another) {
    listen(another, "click", () => {
      write(`${field.value.replace(/[\s,;]+$/, "")}, `.replace(/^, $/, ""));
      field.focus();
    });
  }
  listen(hint, "click", () => count("hinted"));
  listen(tell, "click", () => count("told"));

  follow(["answer"], () => {
    const text = model.get("answer");
    if (field.value !== text) field.value = text;
    const parts = text.split(",").map((part) => part.trim());
    choices.forEach(({ options, show }, n) => show(options.some(([value]) => value === parts[n]) ? parts[n] : ""));
  });
  follow(["reply", "mood"], () => {
    const text = model.get("reply");
    if (reply.textContent !== text) reply.textContent = text;
    reply.dataset.mood = model.get("mood");
    reply.hidden = !text;
  });
  follow(["solution"], () => {
    told.textContent = model.get("solution");
    told.hidden = !model.get("solution");
  });
  follow(["tried"], () => (tell.hidden = !model.get("tried")));
  follow(["tally"], () => (tally.textContent = model.get("tally")));
  follow(["hints", "hint_count"], () => {
    const shown = model.get("hints");
    const all = model.get("hint_count");
    for (const text of shown.slice(hints.children.length)) made("li", "", hints, text);
    while (hints.children.length > shown.length) hints.lastChild.remove();
    hints.hidden = !shown.length;
    const done = shown.length >= all;
    hint.textContent = done ? "no more hints" : `hint ${shown.length + 1} of ${all}`;
    hint.setAttribute("aria-disabled", String(done)); // a button that is really disabled would lose the focus
  });

  return () => {
    leave.abort();
    for (const [name, act] of heard) model.off(name, act);
    el.replaceChildren();
  };
}

export default { render };
