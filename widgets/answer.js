// The form under a question: a field, menus that write into it, buttons, and a reply that is read out when it changes.
function made(tag, name, parent, text = "", attributes = {}) {
  const element = document.createElement(tag);
  if (name) element.className = name;
  element.textContent = text;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent?.append(element);
  return element;
}

let views = 0; // of this model: each widget has this module for itself

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

  views += 1;
  const own = `answer-${model.get("own")}-${views}`;
  el.classList.add("answer-form");
  el.setAttribute("data-lm-suppress-shortcuts", "true"); // or the notebook takes the arrows and Enter away
  for (const [name, colour] of Object.entries(model.get("colours"))) el.style.setProperty(`--answer-${name}`, colour);

  const form = made("div", "", el);
  const menus = made("div", "", form);
  const row = made("div", "answer-row", form);
  made("label", "", row, model.get("label"), { for: own });
  const field = made("input", "answer-field", row, "", {
    id: own, type: "text", maxlength: "4000", autocomplete: "off", spellcheck: "false", "aria-describedby": `${own}-form`,
  });
  const check = made("button", "answer-check", row, "check", { type: "button" });
  const next = model.get("several") ? made("button", "", row, "next grip", { type: "button" }) : null;
  const how = made("div", "answer-soft", form, "", { id: `${own}-form` });
  const row2 = made("div", "answer-row", form);
  const faces = made("span", "answer-faces", row2);
  const hint = made("button", "", row2, "", { type: "button" });
  const tell = made("button", "", row2, "show a solution", { type: "button" });
  const another = made("button", "", row2, "another one", { type: "button" });
  const tally = made("span", "answer-soft", row2);
  const said = made("div", "answer-said", el, "", { "aria-live": "polite" });
  const reply = made("div", "answer-reply", said);
  const told = made("div", "answer-told", said);
  const hints = made("ol", "answer-hints", said);
  let choices = [];

  function menu(label, options, number) {
    if (options.length > 4) {
      const line = made("label", "answer-row", menus, label);
      const list = made("select", "", line);
      made("option", "", list, "choose", { value: "" });
      for (const [value, words] of options) made("option", "", list, words, { value });
      return { options, read: () => list.value, show: (value) => (list.value = value) };
    }
    const group = made("fieldset", "answer-row", menus);
    made("legend", "", group, label);
    const buttons = options.map(([value, words]) => {
      const line = made("label", "", group);
      const button = made("input", "", line, "", { type: "radio", name: `${own}-${number}`, value });
      line.append(words);
      return button;
    });
    return {
      options,
      read: () => buttons.find((button) => button.checked)?.value ?? "",
      show: (value) => buttons.forEach((button) => (button.checked = button.value === value)),
    };
  }

  function showAnswer() {
    const text = model.get("answer");
    if (field.value !== text) field.value = text;
    const parts = text.split(",").map((part) => part.trim());
    for (const { options, show } of choices) show(options.map(([value]) => value).find((value) => parts.includes(value)) ?? "");
  }

  listen(menus, "change", () => write(choices.map((choice) => choice.read()).filter(Boolean).join(", ")));
  listen(check, "click", () => count("checks"));
  listen(form, "keydown", (event) => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT" || event.isComposing) return;
    event.preventDefault();
    count("checks");
  });
  listen(field, "input", () => write(field.value));
  if (next) {
    listen(next, "click", () => {
      write(`${field.value.replace(/[\s,;]+$/, "")}, `.replace(/^, $/, ""));
      field.focus();
    });
  }
  // on the wall there is room for the picture, the neck or the ear: buttons turn from one to another
  function face(name) {
    const box = el.closest(".answer-box");
    if (!box || !name) return;
    box.dataset.face = name;
    for (const button of faces.children) button.setAttribute("aria-pressed", String(button.textContent === name));
    el.dispatchEvent(new Event("toggle", { bubbles: true }));
  }
  listen(hint, "click", () => count("hinted"));
  listen(tell, "click", () => count("told"));
  listen(another, "click", () => count("others"));

  follow(["choices"], () => {
    menus.replaceChildren();
    choices = model.get("choices").map(([label, options], number) => menu(label, options, number));
    showAnswer();
  });
  follow(["answer"], showAnswer);
  follow(["form"], () => (how.textContent = model.get("form")));
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
  follow(["faces"], () => {
    const names = model.get("faces");
    faces.replaceChildren();
    faces.hidden = names.length < 2;
    for (const name of names) listen(made("button", "", faces, name, { type: "button" }), "click", () => face(name));
    requestAnimationFrame(() => face(names[0])); // by then the form stands in its box
  });
  follow(["tried"], () => (tell.hidden = !model.get("tried")));
  follow(["renewed"], () => (another.hidden = !model.get("renewed")));
  follow(["tally"], () => (tally.textContent = model.get("tally")));
  follow(["hints", "hint_count"], () => {
    const shown = model.get("hints");
    const all = model.get("hint_count");
    hints.replaceChildren(...[...hints.children].filter((line, n) => line.textContent === shown[n]));
    for (const text of shown.slice(hints.children.length)) made("li", "", hints, text);
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
