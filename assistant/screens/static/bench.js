"use strict";
const bench = document.getElementById("bench");
const part = (name) => document.getElementById(name);
const MOST_LINES = 60;
let view = null;
let cabState = "none";
let hearing = null;

function line(who, text, signal) {
  const item = document.createElement("li");
  item.className = (signal || "").toLowerCase();
  const by = document.createElement("b");
  by.textContent = who;
  const words = document.createElement("span");
  words.textContent = (signal ? signal + ": " : "") + text;
  item.append(by, " ", words);
  part("talk").prepend(item);
  while (part("talk").children.length > MOST_LINES) part("talk").lastChild.remove();
}

function cabSays() {
  const shown = view ? view.shown : "";
  const by = { shows: bench.dataset.shows.replace("%", shown), sent: bench.dataset.sent };
  part("cabstate").textContent = by[cabState] || bench.dataset[cabState] || "";
  part("cabstate").dataset.state = cabState;
}

/* Replies that tell how the truck stands: shown apart from what is to be done. */
const STATES = ["stands_so", "already_stopped", "paused", "pause_held", "resumed"].map((key) => "reply:" + key);

function show(name, text) {
  part(name).hidden = !text;
  part(name).textContent = text;
}

function joined(state) {
  return state === "shows" || state === "sent";
}

const on = {
  shown(message) {
    view = message.view;
    part("link").hidden = true;
    if (view.heard.words && message.said.length) line(view.heard.who, view.heard.words, "");
    const alarms = message.said.filter((one) => one.signal === "DANGER");
    const states = message.said.filter((one) => STATES.includes(one.key));
    for (const one of message.said) line("›", one.text, one.signal);
    show("alarm", alarms.map((one) => one.text).join(" "));
    show("warn", view.warn);
    show("state", states.map((one) => one.text).join(" "));
    if (message.said.some((one) => one.key.startsWith("reply:link_taken"))) show("phone_code", "");
    show("figure", view.figure);
    part("figure").style.setProperty("--signs", Math.max(5, view.figure.length));
    part("now").textContent = view.now;
    part("heard").hidden = !view.last.words;
    part("heard").textContent = `${bench.dataset.heard}: ${view.last.words} → ${view.last.as}`;
    document.title = view.now;
    touches(part("answers"), view.answers, link, message.n);
    cabSays();
  },
  lost() {
    part("link").textContent = bench.dataset.down;
    part("link").hidden = false;
    part("cabstate").textContent = "";
    part("answers").replaceChildren();
  },
  back() {
    part("link").hidden = true;
    if (view) touches(part("answers"), view.answers, link, link.n);
  },
  told(text) {
    line("›", text, "");
    if (view) touches(part("answers"), view.answers, link, link.n);
  },
  moved() {},
  cab(state) {
    if (joined(state) && !joined(cabState)) show("phone_code", "");
    if (state === "lost" && cabState !== "lost" && view && view.down) show("alarm", bench.dataset.out);
    cabState = state;
    cabSays();
  },
  opened() {
    if (hearing) listens();
  },
  able(told) {
    if (told.listens === false) {
      part("listen").hidden = true;
      line("›", bench.dataset.deaf, "");
    }
  },
};
const link = new Link("tech", bench.dataset.job, on);

readings(part("say"), part("words"), part("pad"), () => link);

part("phone").addEventListener("click", async () => {
  const answer = await fetch(`/code/helper/${bench.dataset.job}`, { method: "POST" });
  const got = answer.ok ? await answer.json() : {};
  show("phone_code", got.told || "");
});

/* One touch begins to listen and to speak: browsers want a touch for both. */
function listens() {
  link.send({ listen: true });
  link.send({ loud: true });
}

part("listen").hidden = !(navigator.mediaDevices && window.AudioWorkletNode);
part("listen").addEventListener("click", async () => {
  if (hearing) {
    for (const track of hearing.getTracks()) track.stop();
    hearing = null;
  } else {
    link.context = link.context || new AudioContext({ sampleRate: 16000 });
    listens();
    hearing = await link.listen(link.context).catch(() => null);
  }
  part("listen").textContent = hearing ? bench.dataset.hush : bench.dataset.listen;
  part("listen").setAttribute("aria-pressed", String(Boolean(hearing)));
});
