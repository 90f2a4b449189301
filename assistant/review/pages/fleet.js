"use strict";
// The fleet page: search over all jobs, which jobs to look at, when trucks are due, acts on many jobs,
// and the list of jobs, into which every number links with "#jobs=token&token".
(() => {
  const field = (id) => document.getElementById(id);
  const all = (selector, within = document) => Array.from(within.querySelectorAll(selector));
  const show = (element, yes) => element && element.classList.toggle("hidden", !yes);
  const many = (count, what) => count + " " + what + (count === 1 ? "" : "s");
  const make = (tag, text, attributes = {}) => {
    const made = document.createElement(tag);
    made.textContent = text;
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    return made;
  };

  // --- Search: find.js beside this page is read when somebody first goes into the field.
  const search = field("search"), found = field("found");
  let data = null, asked = false;
  window.lugcallFound = (told) => {
    data = told;
    data.low = data.jobs.map((job) => job.slice(1).join(" ").toLowerCase());
    data.words = data.lines.map((line) => line[3].toLowerCase());
    find();
  };
  const fetchOnce = () => {
    if (asked) return;
    asked = true;
    document.head.appendChild(make("script", "", { src: "find.js" }));
  };
  const wantedWords = () => search.value.toLowerCase().split(/\s+/).filter(Boolean);
  const listed = (heading, items) => {
    if (!items.length) return;
    found.append(make("h3", heading));
    const list = make("ul", "", { class: "plain" });
    list.append(...items);
    found.append(list);
  };
  const linked = (href, name, rest) => {
    const item = make("li", "");
    const link = href ? make("a", "", { href }) : make("b", "");
    link.append(make("bdi", name || "no unit"));
    item.append(link, document.createTextNode(" " + rest));
    return item;
  };
  const MOST = 12;
  const find = () => {
    const words = wantedWords();
    found.replaceChildren();
    if (!words.length || !data) return;
    const whole = words.join(" ");
    const near = (t) => (t[0].toLowerCase() === whole ? 0 : t[0].toLowerCase().startsWith(whole) ? 1 : 2);
    const trucks = data.trucks.filter((t) => words.every((w) => t[0].toLowerCase().includes(w)))
      .sort((a, b) => near(a) - near(b));
    const lines = [];
    let count = 0;
    data.lines.forEach((line, i) => {
      const own = data.words[i], job = data.low[line[0]];
      if (!words.every((w) => own.includes(w) || job.includes(w))) return;
      if (!words.some((w) => own.includes(w))) return;
      count += 1;
      if (lines.length < MOST) {
        const [href, unit, when] = data.jobs[line[0]];
        const at = href.endsWith(".html") ? "#line-" + line[1] : "";
        lines.push(linked(href + at, unit, when + ", line " + line[1] + ", " + line[2] + ": " + line[3]));
      }
    });
    const jobs = [];
    let of = 0;
    data.jobs.forEach((job, i) => {
      if (!words.every((w) => data.low[i].includes(w))) return;
      of += 1;
      if (jobs.length < MOST) {
        jobs.push(linked(job[0], job[1], job[2] + (job[3] ? " by " + job[3] : "")));
      }
    });
    listed("Trucks: " + trucks.length, trucks.slice(0, MOST).map((t) => linked(t[1], t[0],
      [t[2], t[3] ? "due " + t[3] : "", t[4] ? "ring lugs left: " + t[4] : ""]
        .filter(Boolean).join("; "))));
    listed("Said or written: " + many(count, "line"), lines);
    listed("Jobs: " + of, jobs);
    if (!found.children.length) {
      found.append(make("p", "Nothing has all of these words. What is said alike in most jobs is not "
        + "looked through here: lugcall review --find looks through all."));
    }
  };
  if (search) {
    search.addEventListener("focus", fetchOnce);
    search.addEventListener("input", () => { fetchOnce(); find(); filter(); });
    search.addEventListener("keydown", (event) => {
      if (event.key === "Escape") { search.value = ""; find(); filter(); }
    });
  }

  // --- What must be looked at: all, of the last week, or new.
  const causes = all("details.cause");
  const chips = all("[data-show]");
  const showCases = (chip) => {
    for (const one of chips) one.setAttribute("aria-pressed", one === chip);
    const what = chip.dataset.show;
    let total = 0;
    for (const cause of causes) {
      let seen = 0;
      for (const item of all("li.case", cause)) {
        const yes = what === "all" ? !item.classList.contains("more")
          : what === "week" ? item.dataset.day >= chip.dataset.since
          : item.dataset.fresh !== undefined;
        show(item, yes);
        seen += yes;
      }
      const some = what !== "all";
      show(cause, seen > 0);
      for (const rest of all(".rest", cause)) rest.hidden = some;
      const told = cause.querySelector(".many");
      told.dataset.all = told.dataset.all || told.textContent;
      told.textContent = some ? many(seen, "job") : told.dataset.all;
      total += seen;
    }
    const none = field("nothing");
    if (none) none.hidden = total > 0;
    field("shown").textContent = what === "all" ? "" : many(total, "job");
  };
  for (const chip of chips) chip.addEventListener("click", () => showCases(chip));
  for (const rest of all(".rest")) {
    rest.addEventListener("click", () => {
      for (const item of all("li.more", rest.closest("details"))) {
        item.classList.remove("more", "hidden");
      }
      rest.hidden = true;
    });
  }
  if (chips.length) showCases(chips[0]);

  // --- Due by a day.
  const trucks = all("#trucks tbody tr"), before = field("before"), moreTrucks = field("more-trucks");
  let allTrucks = false;
  const showTrucks = () => {
    let seen = 0;
    for (const row of trucks) {
      const yes = before.value ? row.dataset.from !== "" && row.dataset.from <= before.value
        : allTrucks || !row.classList.contains("more");
      show(row, yes);
      seen += yes;
    }
    field("counted").textContent = before.value ? many(seen, "truck") : "";
    moreTrucks.hidden = Boolean(before.value) || allTrucks || seen === trucks.length;
  };
  if (before) {
    before.addEventListener("input", showTrucks);
    moreTrucks.addEventListener("click", () => { allTrucks = true; showTrucks(); });
    showTrucks();
  }

  // --- An act on many jobs: the command that does it.
  const acts = field("acts");
  const chosen = () => new Set(all("input[data-record]:checked").map((box) => box.dataset.record));
  const quoted = (text) => /^[\w@%+=:,./-]+$/.test(text) ? text
    : "'" + text.replaceAll("'", "'\\''") + "'";
  const command = () => {
    const records = [...chosen()];
    acts.hidden = !records.length;
    field("many-chosen").textContent = many(records.length, "job") + " chosen";
    const words = field("words").value.trim();
    field("command").value = ["lugcall lead", field("act").value, "--by", quoted(field("by").value),
      ...records.map(quoted), ...(words ? ["--", quoted(words)] : [])].join(" ");
  };
  document.addEventListener("change", (event) => {
    if (event.target.matches("input[data-record]")) command();
  });
  for (const id of ["act", "by", "words"]) field(id).addEventListener("input", command);
  acts.addEventListener("submit", (event) => event.preventDefault());
  for (const button of all(".choose")) {
    button.addEventListener("click", () => {
      for (const box of all("li.case:not(.hidden) input, li.case.more input", button.closest("details"))) {
        const item = box.closest("li");
        const narrowed = !document.querySelector('[data-show="all"][aria-pressed="true"]');
        if (!narrowed || !item.classList.contains("hidden")) box.checked = true;
      }
      command();
    });
  }
  field("drop").addEventListener("click", () => {
    for (const box of all("input[data-record]:checked")) box.checked = false;
    command();
  });
  field("copy").addEventListener("click", () => {
    field("command").select();
    if (navigator.clipboard) navigator.clipboard.writeText(field("command").value).catch(() => {});
    else document.execCommand("copy");
  });

  // --- Every job.
  const list = field("list");
  const rows = list ? Array.from(list.tBodies[0].rows) : [];
  const from = field("from"), to = field("to"), code = field("code");
  const FIRST = 60;
  let wanted = [], everyRow = false;
  const decoded = (token) => {  // an address that somebody typed may be malformed
    try {
      return decodeURIComponent(token);
    } catch {
      return token;
    }
  };
  const fits = (row, words) => {
    const has = row.dataset.tokens.split(" ");
    return wanted.every((token) => has.includes(token))
      && words.every((word) => row.dataset.words.includes(word))
      && (!from.value || row.dataset.day >= from.value)
      && (!to.value || row.dataset.day <= to.value)
      && (!code.value || has.includes(code.value));
  };
  function filter() {
    if (!list) return;
    const words = wantedWords();
    let count = 0;
    for (const row of Array.from(list.tBodies[0].rows)) {
      const yes = fits(row, words);
      count += yes;
      show(row, yes && (everyRow || count <= FIRST));
    }
    const of = Number(list.dataset.all);
    field("count").textContent = count + " of " + many(rows.length, "job")
      + (of > rows.length ? " listed here, of " + of + " in all" : "");
    field("more-jobs").hidden = everyRow || count <= FIRST;
    field("none").hidden = count > 0;
    show(list, count > 0);
    field("chosen").textContent = wanted.length
      ? "only: " + wanted.map((t) => decoded(t).replace(":", " ")).join(", ") : "";
    field("all").hidden = !wanted.length;
  }
  const fromHash = () => {
    const hash = /^#jobs=(.*)$/.exec(location.hash);
    wanted = hash ? hash[1].split("&").filter(Boolean) : [];
    if (hash && search.value) { search.value = ""; find(); }
    filter();
    if (hash) { field("jobs").scrollIntoView(); field("jobs").focus({ preventScroll: true }); }
  };
  const value = (row, at) => {
    const cell = row.cells[at];
    return cell.dataset.sort !== undefined ? cell.dataset.sort : cell.textContent.trim();
  };
  const compare = (a, b) => {
    const numbers = /^-?[\d.]+$/.test(a) && /^-?[\d.]+$/.test(b);
    return numbers ? parseFloat(a) - parseFloat(b)
      : a.localeCompare(b, undefined, { numeric: true });
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
    for (const [row] of sorted) list.tBodies[0].appendChild(row);
    filter();
  };
  if (list) {
    for (const button of all("th button", list)) {
      button.addEventListener("click", () => sortBy(button.parentNode));
    }
    for (const one of [from, to, code]) one.addEventListener("input", filter);
    field("all").addEventListener("click", () => { location.hash = "#jobs"; });
    for (const clear of all(".clear")) {
      clear.addEventListener("click", () => {
        for (const one of [search, from, to, code]) one.value = "";
        find();
        if (wanted.length) location.hash = "#jobs";
        else filter();
      });
    }
    field("more-jobs").addEventListener("click", () => { everyRow = true; filter(); });
    window.addEventListener("hashchange", fromHash);
    fromHash();
  }
  field("print-all").addEventListener("change", (event) => {
    document.body.classList.toggle("everything", event.target.checked);
    everyRow = event.target.checked;
    filter();
  });
})();
