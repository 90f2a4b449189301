"use strict";
// Sort, filter and search the list of jobs; every number of the page links to "#jobs=token&token".
(() => {
  const list = document.getElementById("list");
  if (!list) return;
  const rows = Array.from(list.tBodies[0].rows);
  const field = (id) => document.getElementById(id);
  const search = field("search"), from = field("from"), to = field("to"), code = field("code");
  const count = field("count"), chosen = field("chosen");
  let wanted = [];

  const decoded = (token) => {  // an address that somebody typed may be malformed
    try {
      return decodeURIComponent(token);
    } catch {
      return token;
    }
  };

  const shown = (row) => {
    const has = row.dataset.tokens.split(" ");
    const words = search.value.trim().toLowerCase();
    return wanted.every((token) => has.includes(token))
      && (!words || row.dataset.words.includes(words))
      && (!from.value || row.dataset.day >= from.value)
      && (!to.value || row.dataset.day <= to.value)
      && (!code.value || has.includes(code.value));
  };

  const filter = () => {
    let seen = 0;
    for (const row of rows) {
      const yes = shown(row);
      row.classList.toggle("hidden", !yes);
      if (yes) seen += 1;
    }
    const all = Number(list.dataset.all);
    count.textContent = seen + " of " + rows.length + (rows.length === 1 ? " job" : " jobs")
      + (all > rows.length ? " listed here, of " + all + " in all" : "");
    chosen.textContent = wanted.length
      ? "only: " + wanted.map((t) => decoded(t).replace(":", " ")).join(", ") : "";
    field("all").hidden = !wanted.length;
  };

  const fromHash = () => {
    const found = /^#jobs=(.*)$/.exec(location.hash);
    wanted = found ? found[1].split("&").filter(Boolean) : [];
    filter();
    if (found) document.getElementById("jobs").scrollIntoView();
  };

  const value = (row, at) => {
    const cell = row.cells[at];
    return cell.dataset.sort !== undefined ? cell.dataset.sort : cell.textContent.trim();
  };
  const compare = (a, b) => {
    const x = parseFloat(a), y = parseFloat(b);
    const numbers = /^-?[\d.]+$/.test(a) && /^-?[\d.]+$/.test(b);
    if (a === "" || b === "") return (a === "") - (b === "");
    return numbers ? x - y : a.localeCompare(b, undefined, { numeric: true });
  };
  const sortBy = (head) => {
    const at = head.cellIndex;
    const up = head.getAttribute("aria-sort") !== "ascending";
    for (const other of head.parentNode.cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    const sorted = rows.map((row, i) => [row, i, value(row, at)]).sort((p, q) => {
      if (p[2] === "" || q[2] === "") return (p[2] === "") - (q[2] === "") || p[1] - q[1];
      return (up ? 1 : -1) * compare(p[2], q[2]) || p[1] - q[1];
    });
    const body = list.tBodies[0];
    for (const [row] of sorted) body.appendChild(row);
  };

  for (const button of list.tHead.querySelectorAll("button")) {
    button.addEventListener("click", () => sortBy(button.parentNode));
  }
  for (const one of [search, from, to, code]) one.addEventListener("input", filter);
  field("all").addEventListener("click", () => {
    location.hash = "#jobs";
  });
  window.addEventListener("hashchange", fromHash);
  fromHash();
})();
