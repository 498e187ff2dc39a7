// The microphone: blocks of samples from the first click until it is freed; while it is open the page is silent.
const LISTENS = "block-listens"; // tells the page who listens now, or null; players follow it too
const BLOCK = 1024;
const WORKLET = `registerProcessor("take", class extends AudioWorkletProcessor {
  constructor() { super(); this.block = new Float32Array(${BLOCK}); this.at = 0; }
  process([[channel]]) {
    if (!channel) return true;
    for (const value of channel) {
      this.block[this.at++] = value;
      if (this.at === ${BLOCK}) { this.port.postMessage(this.block); this.block = new Float32Array(${BLOCK}); this.at = 0; }
    }
    return true;
  }
});`;

// Nothing sounds on the page until the function given back is called. Who asks for silence next takes it over.
function silence(takenOver) {
  const me = {};
  const hush = (event) => event.target.pause();
  const other = ({ detail }) => {
    if (!detail || detail === me) return;
    leave();
    takenOver();
  };
  const tell = (who) => {
    document.documentElement.toggleAttribute(`data-${LISTENS}`, Boolean(who)); // for players that are opened later
    document.dispatchEvent(new CustomEvent(LISTENS, { detail: who }));
  };
  let leave = () => {
    document.removeEventListener(LISTENS, other);
    document.removeEventListener("play", hush, true);
    leave = null;
  };
  tell(me);
  document.addEventListener(LISTENS, other);
  document.addEventListener("play", hush, true);
  for (const sound of document.querySelectorAll("audio, video")) sound.pause();
  return () => {
    if (!leave) return;
    leave();
    tell(null);
  };
}

const WHY = {
  NotAllowedError: "the browser was told no",
  NotFoundError: "none is plugged in",
  NotReadableError: "something else holds it",
};

// Blocks of samples go to `heard` until `stop` frees the microphone; `gone` is called when it is unplugged.
async function openMicrophone(heard, gone) {
  if (!navigator.mediaDevices?.getUserMedia) throw new Error("this page is not at a secure address");
  const wanted = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
  const stream = await navigator.mediaDevices.getUserMedia({ audio: wanted });
  const context = new AudioContext();
  const stop = () => {
    for (const track of stream.getTracks()) track.stop();
    if (context.state !== "closed") context.close();
  };
  try {
    const address = URL.createObjectURL(new Blob([WORKLET], { type: "text/javascript" }));
    await context.audioWorklet.addModule(address);
    URL.revokeObjectURL(address);
    const node = new AudioWorkletNode(context, "take", { numberOfOutputs: 0 });
    node.port.onmessage = (event) => heard(event.data);
    context.createMediaStreamSource(stream).connect(node);
    await context.resume();
  } catch (trouble) {
    stop();
    throw trouble;
  }
  for (const track of stream.getTracks()) track.addEventListener("ended", gone);
  return { rate: context.sampleRate, stop };
}
