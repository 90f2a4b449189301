"use strict";
/* The live link of a page: numbered messages in, acknowledgements and words out.
   It connects again by itself, and is sent what it has missed. */

const PATIENCE_MS = 1500;
/* Nothing new for so long: the link is opened anew. */
const SILENT_MS = 1900;
/* How long one try to reach the server may take: short, so that a network that is back is found at
   once; now and then long, for one that is slow. */
const TRIES_MS = [600, 600, 600, 1900];
const MOST_TRIES = 24;

class Link {
  /* role, job: whose page of which job. shown(message): draw it. lost(): it may be old now.
     back(): it is the newest after all. told(text): a remark for this page alone. moved(): another
     screen has taken over. patience(view): ms that a view may be old. gated: a message is drawn only
     once it is proved to be the newest. */
  constructor(role, job, on) {
    this.role = role;
    this.job = job;
    this.on = on;
    this.n = 0;
    this.life = "";
    this.next = null;
    this.view = null;
    this.sure = 0;
    this.doubted = 0;
    this.slept = 0;
    this.steady = performance.now();
    this.wall = Date.now();
    this.up = false;
    this.tries = 0;
    this.context = null;
    this.playing = [];
    this.me = sessionStorage.getItem("me") || Math.random().toString(36).slice(2);
    sessionStorage.setItem("me", this.me);
    this.connect();
    setInterval(() => this.look(), 100);
  }

  /* ms; it goes on while the machine sleeps, when the browser's own clock may stand still. */
  now() {
    const steady = performance.now();
    const wall = Date.now();
    const slept = wall - this.wall - (steady - this.steady);
    if (slept > 300) this.slept += slept;
    this.steady = steady;
    this.wall = wall;
    return steady + this.slept;
  }

  connect() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const ask = new URLSearchParams({ me: this.me, seen: this.life + ":" + this.n });
    const at = `${scheme}://${location.host}/live/${this.role}/${encodeURIComponent(this.job)}?${ask}`;
    this.began = this.now();
    const socket = new WebSocket(at);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.onopen = () => this.on.opened && this.on.opened();
    socket.onmessage = (event) => this.socket === socket && this.take(event.data);
    socket.onclose = () => this.probing(socket);
  }

  /* The link is gone: ask for a small file until it comes, then open the link. Links that cannot be
     opened are counted by the browser, which then makes the page wait for seconds; files that never
     came keep its few connections busy: after a while it is the other way round. */
  probing(socket) {
    if (this.socket !== socket || this.left === socket) return;
    this.left = socket;
    socket.close();
    setTimeout(() => this.probe(), 50);
  }

  async probe() {
    const left = this.socket;
    while (this.socket === left && this.tries < MOST_TRIES) {
      const hung = new AbortController();
      const ends = setTimeout(() => hung.abort(), TRIES_MS[this.tries++ % TRIES_MS.length]);
      const came = fetch("/static/icon.svg", { cache: "no-store", signal: hung.signal });
      const answers = await came.then(() => true, () => false);
      clearTimeout(ends);
      if (answers) break;
      if (hung.signal.aborted) continue;
      this.tries -= 1; // refused at once: this costs the browser nothing
      await new Promise((done) => setTimeout(done, 150));
    }
    if (this.socket === left) this.connect();
  }

  take(data) {
    if (typeof data !== "string") {
      this.sound(data);
      return;
    }
    const message = JSON.parse(data);
    if (message.moved) {
      this.sure = this.now();
      this.next = null;
      this.up = false;
      this.on.moved();
    } else if ("got" in message) {
      if (message.got === this.id) this.waits = false;
      if (message.told) this.on.told(message.told);
    } else if (message.hush) {
      this.hush();
    } else if ("loud" in message || "listens" in message) {
      if (this.on.able) this.on.able(message);
    } else if ("n" in message) {
      this.next = message;
      if (!this.on.gated) this.draw();
    } else {
      this.beat(message);
    }
  }

  draw() {
    const message = this.next;
    this.next = null;
    this.n = message.n;
    this.life = message.life;
    this.view = message.view;
    this.up = true;
    this.on.shown(message);
  }

  /* A beat was sent `held` ms or more after this page said `at`: so old, at most, is what it tells. */
  beat(message) {
    this.tries = 0;
    const from = message.at || this.began;
    this.sure = Math.max(this.sure, from + message.held);
    const view = this.next ? this.next.view : this.view;
    /* After a loss only what the server sent later than that: what was on its way may come at last. */
    if (from >= this.doubted && this.now() - this.sure < this.patience(view)) {
      if (this.next && this.next.n === message.beat) this.draw();
      else if (!this.up && !this.next && this.n === message.beat) {
        this.up = true;
        this.on.back();
      }
      if (this.waits && this.socket !== this.asked) {
        /* Whether they were taken is not known: what is shown now tells. */
        this.waits = false;
        this.on.told(document.querySelector("main").dataset.unsure);
      }
    }
    if (this.on.cab) this.on.cab(message.cab);
    /* Acknowledged once it is painted: a page that is hidden or asleep acknowledges nothing. */
    const socket = this.socket;
    requestAnimationFrame(() => {
      if (socket === this.socket) this.send({ seen: this.n, of: message.t, at: Math.floor(this.now()) });
    });
  }

  patience(view) {
    return this.on.patience && view ? this.on.patience(view) : PATIENCE_MS;
  }

  /* What is shown may be old. */
  lose() {
    if (!this.up) return;
    this.up = false;
    this.doubted = this.now();
    this.hush();
    this.on.lost();
  }

  look() {
    const now = this.now();
    if (now - this.sure > this.patience(this.view)) this.lose();
    /* A network that was cut says nothing: begin anew rather than wait for it. */
    if (now - Math.max(this.sure, this.began) > SILENT_MS) this.probing(this.socket);
  }

  /* Replies as sound, one after another; `hush` cuts them off. */
  async sound(data) {
    if (!this.context || !this.up) return;
    const turn = this.turn;
    const sound = await this.context.decodeAudioData(data);
    if (turn !== this.turn) return;
    const source = this.context.createBufferSource();
    source.buffer = sound;
    source.connect(this.context.destination);
    const now = this.context.currentTime;
    this.until = Math.max(now, this.until || 0);
    source.start(this.until);
    this.until += sound.duration;
    this.playing.push(source);
  }

  hush() {
    this.turn = (this.turn || 0) + 1;
    for (const one of this.playing || []) one.stop();
    this.playing = [];
    this.until = 0;
  }

  /* The page's microphone, 16,000 samples a second, 512 of 16 bits a message. */
  async listen(context) {
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { channelCount: 1, echoCancellation: true, noiseSuppression: false, autoGainControl: true },
    });
    await context.audioWorklet.addModule("/static/mic.js");
    const mic = new AudioWorkletNode(context, "mic", { processorOptions: { rate: 16000 } });
    mic.port.onmessage = (event) => {
      if (this.socket.readyState === WebSocket.OPEN) this.socket.send(event.data);
    };
    context.createMediaStreamSource(stream).connect(mic);
    return stream;
  }

  /* Words of a person; `about` the message that a touch answers. */
  say(words, about) {
    this.id = (this.id || 0) + 1;
    this.asked = this.socket;
    this.waits = this.send({ words, about, id: this.id });
    return this.waits;
  }

  send(told) {
    if (this.socket.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(told));
    return true;
  }
}

/* Keys for a reading: what they write is said like any words. */
function readings(form, words, pad, link) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const said = words.value.trim();
    if (said && link().say(said)) words.value = "";
  });
  pad.addEventListener("click", (event) => {
    const key = event.target.dataset.key;
    if (!key) return;
    if (key === "⌫") words.value = words.value.slice(0, -1);
    else words.value += key === "␣" ? " " : key.length > 1 ? " " + key : key;
  });
}

/* Touches: each says its words, and for which message it was meant. */
function touches(place, answers, link, about) {
  place.replaceChildren(
    ...answers.map((answer) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = answer.label;
      button.dataset.means = answer.means;
      button.addEventListener("click", () => {
        if (answer.means !== "stop") for (const one of place.children) one.disabled = one.dataset.means !== "stop";
        link.say(answer.words, about);
      });
      return button;
    }),
  );
}
