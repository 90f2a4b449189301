"use strict";
/* Jobs under way, as they stand this moment. */
for (const job of document.querySelectorAll("[data-live]")) {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  const connect = () => {
    const socket = new WebSocket(`${scheme}://${location.host}/live/lead/${job.dataset.live}?me=desk`);
    socket.onmessage = (event) => {
      const message = JSON.parse(event.data);
      if (!message.view) return;
      const word = job.querySelector(".word");
      word.hidden = false;
      word.textContent = message.view.shown;
      word.dataset.word = message.view.word;
      job.querySelector(".now").textContent = message.view.now;
    };
    socket.onclose = () => setTimeout(connect, 1000);
  };
  connect();
}
