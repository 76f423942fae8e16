// A page that is left open rings when somebody must go: only after "Sound on" was pressed, and it says how it stands.
const EVERY_MS = 30_000;
const LOOK_MS = 1_000;
const TONES = [[0, 660], [0.28, 880], [0.56, 660], [1.1, 660], [1.38, 880], [1.66, 660]];

const place = document.getElementById("sound");
const button = place?.querySelector("button");
const words = place?.querySelector("span");
let context, connected = true, heard = new Set(), rangAt = 0;

const names = (text) => new Set((text ?? "").split(" ").filter(Boolean));
const on = () => context?.state === "running";

function tell() {
  button.textContent = on() ? "Sound off" : "Sound on";
  const said = !on() ? "Sound is off."
    : connected ? "Sound is on while this page stays open." : "Sound is on, but there is no connection: no alarm would be heard.";
  if (words.textContent !== said) words.textContent = said;
}

function tones(list) {
  const begin = context.currentTime + 0.05;
  for (const [after, pitch] of list) {
    const source = new OscillatorNode(context, { type: "triangle", frequency: pitch });
    const volume = new GainNode(context, { gain: 0 });
    source.connect(volume).connect(context.destination);
    volume.gain.setValueAtTime(0, begin + after);
    volume.gain.linearRampToValueAtTime(0.6, begin + after + 0.02);
    volume.gain.setValueAtTime(0.6, begin + after + 0.2);
    volume.gain.linearRampToValueAtTime(0, begin + after + 0.26);
    source.start(begin + after);
    source.stop(begin + after + 0.3);
  }
}

function ring() {
  rangAt = Date.now();
  tones(TONES);
  place.dataset.rang = String(Number(place.dataset.rang) + 1);
}

function look() {
  const told = names(place.dataset.told);
  const fresh = [...told].some((name) => !heard.has(name));
  heard = told;
  if (!on()) return;
  const waits = names(place.dataset.unanswered).size > 0;
  if (fresh || (waits && Math.abs(Date.now() - rangAt) >= EVERY_MS)) ring();
}

async function press() {
  if (on()) {
    await context.suspend();
  } else {
    if (!context) {
      context = new AudioContext();
      context.addEventListener("statechange", tell);
    }
    await context.resume();
    if (on() && names(place.dataset.unanswered).size) ring();
    else if (on()) tones(TONES.slice(0, 1));
  }
  tell();
}

if (place && window.AudioContext) {
  button.addEventListener("click", press);
  document.addEventListener("renewed", ({ detail }) => {
    const other = detail.getElementById("sound");
    if (!other) return;
    place.dataset.told = other.dataset.told;
    place.dataset.unanswered = other.dataset.unanswered;
    look();
  });
  document.addEventListener("connection", ({ detail }) => { connected = detail; tell(); });
  setInterval(look, LOOK_MS);
  look();
  tell();
  place.hidden = false;
}
