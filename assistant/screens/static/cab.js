"use strict";
const cab = document.getElementById("cab");
const part = (name) => document.getElementById(name);
let view = null;
let sounds = null;
let link = null;
let waking = null;

/* --- what is shown --- */

function show(word, shown, line) {
  const changed = cab.dataset.word !== word;
  cab.dataset.word = word;
  part("word").textContent = shown;
  part("line").textContent = line;
  document.title = shown;
  if (changed) signal(word);
}

/* What was just said to the helper besides what the page shows him to do. */
function answered(said, line) {
  return said.map((one) => one.text).filter((text) => !line.includes(text)).map((text) => text.replace(line, "")).join(" ");
}

const on = {
  gated: true,
  shown(message) {
    view = message.view;
    part("link").hidden = true;
    show(view.word, view.shown, view.line);
    part("told").textContent = answered(message.said || [], view.line);
    part("unit").textContent = view.unit;
    part("say").querySelector("label").textContent = view.label;
    part("say").hidden = !view.asks;
    if (!view.asks) part("words").value = "";
    touches(part("answers"), view.answers, link, message.n);
    say(view.word, view.shown, view.line);
  },
  /* A release that may be a second old is not shown any more. */
  patience: (view) => (view.word === "release" ? 900 : 1500),
  lost() {
    /* The foot stays as it is: the safe word, and that there is no link. */
    const safe = view ? view.safe : "wait";
    show("lost-" + safe, view ? view.safe_shown : "", cab.dataset.lostLine);
    part("link").textContent = cab.dataset.lost;
    part("link").hidden = false;
    part("say").hidden = true;
    part("answers").replaceChildren();
    say("lost", cab.dataset.lost, cab.dataset.lostLine);
  },
  back() {
    /* The next message or this beat: what was shown is still the newest. */
    if (view) on.shown({ view, n: link.n });
  },
  told(text) {
    part("told").textContent = text;
    signal("wait");
    if (view) touches(part("answers"), view.answers, link, link.n);
  },
  /* The server's own voice, if it has one; else the phone's. */
  opened: () => link.send({ loud: true }),
  able(told) {
    link.context = told.loud ? sounds : null;
  },
  moved() {
    show("moved", cab.dataset.moved, cab.dataset.movedLine);
    part("answers").replaceChildren();
  },
};

readings(part("say"), part("words"), part("pad"), () => link);

/* A page that is left or asleep must not wake with an old word on it. */
const sleeps = () => link && link.lose();
document.addEventListener("freeze", sleeps);
document.addEventListener("visibilitychange", () => (document.hidden ? sleeps() : stayAwake()));
cab.addEventListener("click", () => {
  if (cab.dataset.word === "moved") link.send({ take: true });
});

/* --- what is heard: each word has its own signal, then the words --- */

const SIGNALS = {
  press: [[440, 0, 0.16], [330, 0.2, 0.16], [220, 0.4, 0.3]],
  hold: [[220, 0, 0.5]],
  release: [[440, 0, 0.16], [554, 0.2, 0.16], [659, 0.4, 0.3]],
  wait: [[330, 0, 0.12]],
  foot: [[330, 0, 0.12], [247, 0.16, 0.25]],
  turn: [[494, 0, 0.12], [494, 0.2, 0.12]],
  stop: [[880, 0, 0.1], [880, 0.16, 0.1], [880, 0.32, 0.1], [880, 0.48, 0.1]],
  "lost-hold": [[160, 0, 0.3], [160, 0.45, 0.3]],
  "lost-wait": [[160, 0, 0.3], [160, 0.45, 0.3]],
};

function signal(word) {
  if (!sounds || !SIGNALS[word]) return;
  for (const [pitch, from, long] of SIGNALS[word]) {
    const tone = sounds.createOscillator();
    const level = sounds.createGain();
    const at = sounds.currentTime + from;
    tone.frequency.value = pitch;
    tone.type = "triangle";
    level.gain.setValueAtTime(0.0001, at);
    level.gain.exponentialRampToValueAtTime(0.7, at + 0.02);
    level.gain.exponentialRampToValueAtTime(0.0001, at + long);
    tone.connect(level).connect(sounds.destination);
    tone.start(at);
    tone.stop(at + long);
  }
}

let said = "";
function say(word, shown, line) {
  if (!sounds || link.context || !window.speechSynthesis || said === word + line) return;
  said = word + line;
  speechSynthesis.cancel();
  const told = line.toUpperCase().startsWith(shown) ? line : shown.toLowerCase() + ". " + line;
  speechSynthesis.speak(new SpeechSynthesisUtterance(told));
}

/* --- awake: the screen must not go dark with a foot on the pedal --- */

async function stayAwake() {
  if (!sounds) return;
  try {
    waking = await navigator.wakeLock.request("screen");
  } catch {
    /* Without a secure address there is no such lock; a film that plays keeps most phones awake. */
    const still = document.createElement("canvas");
    still.width = still.height = 2;
    const paint = still.getContext("2d");
    setInterval(() => paint.fillRect(0, 0, 2, 2), 1000);
    part("awake").srcObject = still.captureStream(1);
    part("awake").play().catch(() => {});
  }
}

part("begin").addEventListener("click", () => {
  part("begin").remove();
  try {
    sounds = new AudioContext();
  } catch {
    sounds = null;
  }
  if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
  cab.dataset.word = "joining";
  link = new Link("helper", cab.dataset.job, on);
  stayAwake();
});
