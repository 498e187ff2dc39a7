// The chapter comes alive: its kernel runs one cell after another, and what each shows replaces what stood there.
"use strict";

const WIDGET = "application/vnd.jupyter.widget-view+json";
const TARGET = "harmonylib.wall";
const SHOWN = ["execute_result", "display_data", "stream", "error"];
const AHEAD = 2; // requests under way, so that the kernel never waits for the page
const ASKED_MS = 1500; // until a server that does not answer is asked again
const STOPPED = "The course has stopped on this computer: start it there again, and this page goes on.";
const BROKEN = "This chapter has broken off. Open it again from the contents.";

function made(tag, name, text = "") {
  const element = document.createElement(tag);
  if (name) element.className = name;
  element.textContent = text;
  return element;
}

function lines(text) {
  const shown = made("div", "lines");
  shown.append(...text.trimEnd().split("\n").map((line) => made("div", "", line)));
  return shown;
}

function html(name, source) {
  const shown = made("div", name);
  shown.innerHTML = source;
  return shown;
}

const joined = (text) => (Array.isArray(text) ? text.join("") : text);

// what a cell puts out, as elements; a widget's place is filled once it stands on the page
function elements(outputs) {
  const printed = outputs.filter((output) => output.output_type === "stream" && output.name === "stdout");
  const text = printed.map((output) => joined(output.text)).join("");
  const found = text.trim() ? [lines(text)] : []; // one text, however it arrives
  for (const { output_type, evalue, data = {} } of outputs) {
    const svg = data["image/svg+xml"];
    if (output_type === "error") {
      const fault = made("p", "error", evalue);
      fault.setAttribute("role", "alert");
      found.push(fault);
    } else if (data.view) {
      const place = made("div", "widget");
      place.view = data.view;
      found.push(place);
    } else if (data["text/html"]) found.push(html("html", joined(data["text/html"])));
    else if (svg) found.push(html("picture", joined(svg)));
    else if (data["image/png"]) {
      const picture = made("div", "picture");
      const image = picture.appendChild(made("img"));
      image.alt = joined(data["text/plain"] ?? "");
      image.src = `data:image/png;base64,${joined(data["image/png"])}`;
      found.push(picture);
    } else if (data["text/plain"]) found.push(lines(joined(data["text/plain"])));
  }
  return found;
}

function put(cell, outputs) {
  const shown = elements(outputs);
  const open = cell.querySelector("details")?.open;
  cell.replaceChildren(...shown);
  if (open && cell.querySelector("details")) cell.querySelector("details").open = true;
  const attach = window.jupyterapp?.shell.constructor.attach;
  for (const place of shown) if (place.view) attach(place.view.luminoWidget, place);
}

// what stood in the cells when the chapter was kept, shown as soon as the page is there
function putStored() {
  for (const cell of document.querySelectorAll(".cell")) {
    const stored = cell.querySelector("script");
    cell.dataset.ran = stored ? "before" : "";
    if (stored) put(cell, JSON.parse(stored.textContent));
    cell.classList.add("stored");
  }
}

async function widgets() {
  while (!window.jupyterapp) await new Promise((done) => setTimeout(done, 20));
  return window.jupyterapp.widgetManagerPromise.promise;
}

async function comeAlive(wall) {
  const manager = await widgets();
  const cells = [...document.querySelectorAll(".cell")];
  let pass = 0;

  const line = manager.kernel.createComm(TARGET);
  line.open({});

  async function ask(message) {
    const future = line.send(message);
    const outputs = [];
    future.onIOPub = ({ header, content }) => {
      if (header.msg_type === "clear_output") outputs.length = 0;
      else if (SHOWN.includes(header.msg_type)) outputs.push({ output_type: header.msg_type, ...content });
    };
    await future.done;
    return outputs;
  }

  async function run(cell, mine) {
    const outputs = await ask({ cell: Number(cell.dataset.number) });
    for (const output of outputs) {
      const view = output.data?.[WIDGET];
      if (view) output.data.view = await manager.create_view(await manager.get_model(view.model_id));
    }
    if (mine !== pass) return false;
    put(cell, outputs);
    cell.classList.remove("stored");
    cell.dataset.ran = "now";
    wall.changed(cell);
    return !outputs.some((output) => output.output_type === "error");
  }

  // first what the step on the wall needs: all before it that makes something, and itself
  function inOrder() {
    const step = document.querySelector(".step.now");
    const last = Math.max(-1, ...cells.map((cell, number) => (step?.contains(cell) ? number : -1)));
    const first = cells.filter((cell, number) => number <= last && (cell.dataset.makes || step.contains(cell)));
    return [...first, ...cells.filter((cell) => !first.includes(cell))];
  }

  async function runAll() {
    const mine = (pass += 1);
    document.body.classList.add("working");
    let under = [];
    for (const cell of inOrder()) {
      under.push(run(cell, mine));
      if (under.length >= AHEAD && !(await under.shift())) return mine === pass && stopped();
      if (mine !== pass) return false;
    }
    if (!(await Promise.all(under)).every(Boolean)) return mine === pass && stopped();
    document.body.classList.remove("working");
    return true;
  }

  // a fault ends the chapter: what would come after it is not shown
  function stopped() {
    pass += 1; // nor what was asked for meanwhile
    const fault = cells.findIndex((cell) => cell.querySelector(".error"));
    for (const cell of cells.slice(fault + 1)) {
      put(cell, []);
      cell.dataset.ran = "now";
    }
    document.body.classList.remove("working");
    return true;
  }

  async function setLesson(settings) {
    await ask({ settings });
    return (await runAll()) ? describe() : null;
  }

  function describe() {
    return new Promise((done) => {
      line.onMsg = ({ content }) => done(content.data.bar);
      line.send({ bar: true });
    });
  }

  // The page knows its step and its settings: where its kernel is gone, it is loaded anew and has another. One that never
  // came as far as to be alive is not tried again and again.
  function begin() {
    if (document.body.classList.contains("working") && pass < 2) wall.warn(BROKEN);
    else location.reload();
  }

  function lookAfter(kernel) {
    const address = `${kernel.serverSettings.baseUrl}api/kernels/${kernel.id}`;
    let looking = false;
    async function look() {
      if (looking) return;
      looking = true;
      while (kernel.connectionStatus !== "connected") {
        const answer = await fetch(address).catch(() => null);
        if (kernel.isDisposed) return; // the page goes
        if (answer && !answer.ok) return begin(); // the server was started anew
        wall.warn(answer ? "" : STOPPED);
        if (answer && kernel.connectionStatus === "disconnected") await kernel.reconnect().catch(() => {});
        await new Promise((done) => setTimeout(done, ASKED_MS));
      }
      wall.warn("");
      looking = false;
    }
    kernel.connectionStatusChanged.connect(look);
    kernel.statusChanged.connect((_, status) => ["autorestarting", "restarting", "dead"].includes(status) && begin());
  }
  lookAfter(manager.kernel);

  return { setLesson };
}
