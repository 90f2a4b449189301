"use strict";
/* The live link of a page: numbered messages in, acknowledgements and words out.
   It connects again by itself, and is sent what it has missed. */

class Link {
  /* role, job: whose page of which job. shown(message): draw it. lost(): nothing came in time.
     told(text): a remark for this page alone. moved(): another screen has taken over. */
  constructor(role, job, on) {
    this.role = role;
    this.job = job;
    this.on = on;
    this.n = 0;
    this.life = "";
    this.at = 0;
    this.up = false;
    this.context = null;
    this.playing = [];
    this.me = sessionStorage.getItem("me") || Math.random().toString(36).slice(2);
    sessionStorage.setItem("me", this.me);
    this.connect();
    setInterval(() => this.look(), 100);
  }

  connect() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const ask = new URLSearchParams({ me: this.me, seen: this.life + ":" + this.n });
    const at = `${scheme}://${location.host}/live/${this.role}/${encodeURIComponent(this.job)}?${ask}`;
    const socket = new WebSocket(at);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.onopen = () => this.on.opened && this.on.opened();
    socket.onmessage = (event) => this.take(event.data);
    socket.onclose = () => {
      if (this.socket === socket) setTimeout(() => this.connect(), 300);
    };
  }

  take(data) {
    if (typeof data !== "string") {
      this.sound(data);
      return;
    }
    const message = JSON.parse(data);
    this.at = performance.now();
    if (message.moved) {
      this.on.moved();
      return;
    }
    if ("got" in message) {
      if (message.got === this.id) this.waits = false;
      if (message.told) this.on.told(message.told);
      return;
    }
    if (message.hush) {
      this.hush();
      return;
    }
    if ("loud" in message || "listens" in message) {
      if (this.on.able) this.on.able(message);
      return;
    }
    if ("n" in message) {
      this.n = message.n;
      this.life = message.life;
      this.up = true;
      this.on.shown(message);
    } else if (!this.up) {
      this.up = true;
      this.on.back();
    }
    if (this.waits && this.socket !== this.asked) {
      /* Whether they were taken is not known: what is shown now tells. */
      this.waits = false;
      this.on.told(document.querySelector("main").dataset.unsure);
    }
    if ("cab" in message && this.on.cab) this.on.cab(message.cab);
    /* Acknowledged once it is painted: a page that is hidden or asleep acknowledges nothing. */
    requestAnimationFrame(() => this.send({ seen: this.n }));
  }

  look() {
    const patience = this.on.patience ? this.on.patience() : 1500;
    if (this.up && performance.now() - this.at > patience) {
      this.up = false;
      this.on.lost();
    }
    /* A network that was cut says nothing: begin anew rather than wait for it. */
    if (performance.now() - this.at > 3000 && this.socket.readyState === WebSocket.OPEN) {
      this.at = performance.now();
      this.socket.close();
      this.connect();
    }
  }

  /* Replies as sound, one after another; `hush` cuts them off. */
  async sound(data) {
    if (!this.context) return;
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
