// Records in the page, and reads what only a browser can read. Without it files are sent as they are.
import { wav } from "./wav.js";

const ASKED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const NAMES = { echoCancellation: "echo cancelling", noiseSuppression: "noise suppression", autoGainControl: "gain control" };
const COUNT = 3;
const MOST_BYTES = 190e6;
const QUIETEST = -60;
const FULL = -1;

const form = document.getElementById("sending");
const box = document.getElementById("recorder");
if (form && box) begin();

function begin() {
  const input = document.getElementById("file");
  const takes = files(input);
  input.addEventListener("change", () => takes.chosen());
  const reason = lacking();
  if (reason) box.replaceChildren(paragraph(reason));
  else recorder(takes);
}

// --- Files -----------------------------------------------------------------------------------------

function files(input) {
  const told = document.getElementById("file-error");
  const list = document.getElementById("chosen");
  const put = (all) => {
    const held = new DataTransfer();
    all.forEach((each) => held.items.add(each));
    input.files = held.files;
    list.replaceChildren(...all.map((each) => element("li", `${each.name}, ${(each.size / 1e6).toFixed(1)} MB`)));
  };
  return {
    add(file) {
      put([...input.files, file]);
    },
    async chosen() {
      told.hidden = true;
      const all = [];
      for (const each of input.files) {
        try {
          all.push(await readable(each, input.dataset.curves.split(",")));
        } catch {
          all.push(each);
          told.textContent = `${each.name}: this browser cannot read it either; record as WAV or FLAC.`;
          told.hidden = false;
        }
      }
      put(all);
    },
  };
}

// What the server reads stays as it came; what only a browser reads becomes WAV.
async function readable(file, curves) {
  const head = new Uint8Array(await file.slice(0, 12).arrayBuffer());
  const word = String.fromCharCode(...head);
  const known = /^(RIFF|RIFX|RF64|fLaC|OggS|ID3)/.test(word) || (head[0] === 0xff && (head[1] & 0xe0) === 0xe0 && !aac(head));
  if (known || curves.some((each) => file.name.toLowerCase().endsWith(each))) return file;
  const context = new OfflineAudioContext(1, 1, 48000);
  const sound = await context.decodeAudioData(await file.arrayBuffer());
  const channels = Array.from({ length: sound.numberOfChannels }, (_, i) => sound.getChannelData(i));
  const name = `${file.name.replace(/\.[^.]*$/, "")}.wav`;
  return new File([wav(channels, sound.sampleRate)], name, { type: "audio/wav" });
}

// ADTS begins as MPEG audio does, but with a layer of 0.
function aac(head) {
  return head[0] === 0xff && (head[1] & 0xf6) === 0xf0;
}

// --- The microphone --------------------------------------------------------------------------------

function lacking() {
  if (!window.isSecureContext)
    return "A browser gives no microphone to a page that came over plain HTTP. Open the paired https address of this server, or record with any recorder and send its files here.";
  if (!navigator.mediaDevices?.getUserMedia || !window.AudioWorkletNode)
    return "This browser gives no microphone. Record with any recorder and send its files here.";
  return "";
}

function recorder(takes) {
  const start = element("button", "Start recording");
  const stop = element("button", "Stop and keep");
  const drop = element("button", "Stop and throw away");
  [start, stop, drop].forEach((each) => (each.type = "button"));
  start.className = "main";
  stop.className = "main";
  const said = element("p", "The page asks for the microphone as it is: no echo cancelling, no noise suppression, no gain control.");
  said.setAttribute("role", "status");
  const level = document.createElement("progress");
  level.max = FULL - QUIETEST;
  level.value = 0;
  level.setAttribute("aria-label", "Level");
  let number = 0;
  let open = null;

  const rest = (words) => {
    open?.close();
    open = null;
    level.value = 0;
    said.className = "";
    said.textContent = words;
    start.disabled = false;
    box.replaceChildren(start, said);
  };

  start.addEventListener("click", async () => {
    start.disabled = true;
    try {
      open = await microphone();
      await begun(open);
    } catch (error) {
      rest(refused(error));
    }
  });

  // Whoever stops meanwhile closes what was open, and may have opened it anew.
  async function begun(mine) {
    const on = Object.keys(ASKED).filter((each) => open.settings[each] === true).map((each) => NAMES[each]);
    if (on.length) {
      said.className = "worry";
      said.textContent = `▲ This device keeps ${on.join(" and ")} on although the page asked for none: the recording will most likely be of no use. Another recorder app may do better.`;
      const all = element("button", "Record all the same");
      all.type = "button";
      box.replaceChildren(all, drop, said);
      await new Promise((go) => all.addEventListener("click", go, { once: true }));
      if (open !== mine) return;
    }
    form.elements.recorder.value = settings(open);
    said.className = "count";
    box.replaceChildren(drop, said, level);
    for (let left = COUNT; left > 0; left -= 1) {
      said.textContent = `Recording in ${left}`;
      await new Promise((go) => setTimeout(go, 1000));
      if (open !== mine) return;
    }
    box.replaceChildren(stop, drop, said, level);
    const shown = (seconds, peak) => {
      const loud = 20 * Math.log10(Math.max(peak, 1e-6));
      level.value = Math.max(0, Math.min(FULL, loud) - QUIETEST);
      said.textContent = `Recording, ${seconds.toFixed(0)} s. ${loud > FULL ? "Too loud: turn it down." : "Play the sound now."}`;
    };
    open.record(shown, () => stop.click());
  }

  stop.addEventListener("click", () => {
    if (!open) return;
    const taken = open.taken();
    if (!taken) return rest("Nothing was recorded: the microphone gave no sound.");
    number += 1;
    takes.add(new File([taken.file], `take-${number}.wav`, { type: "audio/wav" }));
    rest(`take-${number}.wav, ${taken.seconds.toFixed(1)} s, is among the recordings below.`);
  });
  drop.addEventListener("click", () => rest("Thrown away."));
  rest(said.textContent);
}

async function microphone() {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...ASKED, channelCount: { ideal: 2 } } });
  const context = new AudioContext();
  const close = () => {
    stream.getTracks().forEach((each) => each.stop());
    context.close();
  };
  try {
    await context.audioWorklet.addModule("/static/recorder-worklet.js");
    await context.resume();
  } catch (error) {
    close();
    throw error;
  }
  const tap = new AudioWorkletNode(context, "tap", { numberOfOutputs: 1 });
  // What nothing pulls at does not run; nothing of it is to be heard.
  const silent = new GainNode(context, { gain: 0 });
  context.createMediaStreamSource(stream).connect(tap).connect(silent).connect(context.destination);
  const pieces = [];
  let bytes = 0;
  let heard = () => {};
  // From the first on: a port keeps what nobody takes, and would give the countdown afterwards.
  tap.port.onmessage = ({ data }) => heard(data);
  return {
    close,
    rate: context.sampleRate,
    settings: stream.getAudioTracks()[0].getSettings(),
    record(shown, full) {
      heard = (data) => {
        pieces.push(data);
        bytes += 4 * data.length * data[0].length;
        const peak = data.reduce((most, each) => each.reduce((a, b) => Math.max(a, Math.abs(b)), most), 0);
        shown(bytes / 4 / data.length / context.sampleRate, peak);
        if (bytes > MOST_BYTES) full();
      };
    },
    taken() {
      if (!pieces.length) return null;
      const count = Math.min(...pieces.map((each) => each.length));
      const whole = Array.from({ length: count }, (_, i) => joined(pieces.map((each) => each[i])));
      return { file: wav(whole, context.sampleRate), seconds: whole[0].length / context.sampleRate };
    },
  };
}

function joined(parts) {
  const whole = new Float32Array(parts.reduce((sum, each) => sum + each.length, 0));
  let at = 0;
  for (const each of parts) {
    whole.set(each, at);
    at += each.length;
  }
  return whole;
}

// What the device says it does, as it goes into the note.
function settings(open) {
  const told = Object.keys(ASKED).map((each) => {
    const value = open.settings[each];
    return `${NAMES[each]} ${value === true ? "on" : value === false ? "off" : "not told"}`;
  });
  const from = open.settings.sampleRate ? `, from ${open.settings.sampleRate} Hz` : "";
  return `Recorded in the page at ${open.rate} Hz${from}, ${told.join(", ")}`;
}

function refused(error) {
  if (error.name === "NotAllowedError") return "The microphone was not given. Allow it in the browser, or send a file.";
  if (error.name === "NotFoundError") return "There is no microphone. Record elsewhere and send a file.";
  return `The microphone cannot be used (${error.name}). Record with any recorder and send its files.`;
}

function element(name, text) {
  const made = document.createElement(name);
  made.textContent = text;
  return made;
}

function paragraph(text) {
  return element("p", text);
}
