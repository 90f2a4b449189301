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
    socket.onmessage = (event) => this.take(event.data);
    socket.onclose = () => {
      if (this.socket === socket) setTimeout(() => this.connect(), 300);
    };
  }

  take(data) {
    if (typeof data !== "string") {
      if (this.on.sound) this.on.sound(data);
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
