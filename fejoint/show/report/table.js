// The table of a sweep's cases: sorted by its headings, filtered by words and comparisons.
// Without this script the table stands there whole, in the order of the cases.
"use strict";
(() => {
  const table = document.getElementById("cases");
  if (!table) return;
  const body = table.tBodies[0];
  const heads = Array.from(table.tHead.rows[0].cells);
  const controls = document.getElementById("cases-controls");
  const words = document.getElementById("cases-filter");
  const feasible = document.getElementById("cases-feasible"); // not there without limits
  const status = document.getElementById("cases-status");
  const shown = document.getElementById("cases-shown");
  const problem = document.getElementById("cases-problem");
  const textOrder = new Intl.Collator("en", { numeric: true, sensitivity: "base" });

  const columns = heads.map((head) => ({ name: head.textContent.trim(), isNumber: head.dataset.kind === "number" }));
  const rows = Array.from(body.rows, (row, place) => {
    const cells = Array.from(row.cells);
    const texts = cells.map((cell) => cell.textContent.trim());
    const values = cells.map((cell, i) => {
      const text = cell.dataset.value ?? texts[i];
      return text === "" ? null : columns[i].isNumber ? Number(text) : text;
    });
    return { row, place, texts, values, all: texts.join("\n").toLowerCase() };
  });

  // ---- order ----

  let sorted = { column: 0, way: "none" };

  function compared(a, b) {
    const x = a.values[sorted.column];
    const y = b.values[sorted.column];
    // Blanks come last, whichever way.
    if (x === null || y === null) return (x === null) - (y === null) || a.place - b.place;
    const order = columns[sorted.column].isNumber ? x - y : textOrder.compare(x, y);
    return (sorted.way === "descending" ? -order : order) || a.place - b.place;
  }

  function sortBy(column) {
    const after = { none: "ascending", ascending: "descending", descending: "none" };
    sorted = { column, way: sorted.column === column ? after[sorted.way] : "ascending" };
    heads.forEach((head, i) => head.setAttribute("aria-sort", i === column ? sorted.way : "none"));
    const order = sorted.way === "none" ? rows : rows.slice().sort(compared);
    const all = document.createDocumentFragment();
    order.forEach(({ row }) => all.append(row));
    body.append(all);
  }

  // ---- conditions ----

  const SIGN = /^\s*(<=|>=|!=|≤|≥|<|>|=)\s*(.*)$/;
  const SAME = { "≤": "<=", "≥": ">=" };

  // A column's name may hold any character, so names are looked for before signs.
  function comparison(text) {
    let found = null;
    columns.forEach(({ name }, column) => {
      const rest = text.toLowerCase().startsWith(name.toLowerCase()) ? SIGN.exec(text.slice(name.length)) : null;
      if (rest && (!found || name.length > columns[found.column].name.length)) {
        found = { column, sign: SAME[rest[1]] ?? rest[1], than: rest[2].trim() };
      }
    });
    return found;
  }

  const HOLDS = {
    "<=": (x, y) => x <= y,
    ">=": (x, y) => x >= y,
    "<": (x, y) => x < y,
    ">": (x, y) => x > y,
  };

  // Returns the test of a row that a condition makes, or null; says what is wrong with it.
  function condition(text, say) {
    const found = comparison(text);
    if (!found) {
      const rest = /^(\S+?)\s*(?:<=|>=|!=|≤|≥|<|>|=)/.exec(text);
      if (rest) say(`There is no column ${rest[1]}: the text was looked for as it stands.`);
      const wanted = text.toLowerCase();
      return (each) => each.all.includes(wanted);
    }
    const { column, sign, than } = found;
    if (than === "") return null; // still being typed
    const { name, isNumber } = columns[column];
    const equal = sign === "=" || sign === "!=";
    if (!isNumber) {
      if (!equal) {
        say(`${name} holds texts: compare them by = or !=.`);
        return null;
      }
      const same = (each) => each.values[column].toLowerCase() === than.toLowerCase();
      return (each) => each.values[column] !== null && same(each) === (sign === "=");
    }
    const number = Number(than);
    if (!Number.isFinite(number)) {
      say(`${name}: compare it with a number, in the unit of its name.`);
      return null;
    }
    if (equal) {
      // As it is shown, or exactly.
      const same = (each) => each.values[column] === number || Number(each.texts[column]) === number;
      return (each) => each.values[column] !== null && same(each) === (sign === "=");
    }
    return (each) => each.values[column] !== null && HOLDS[sign](each.values[column], number);
  }

  function filter() {
    const problems = [];
    const tests = words.value.split(";").map((part) => part.trim()).filter(Boolean);
    const conditions = tests.map((part) => condition(part, (text) => problems.push(text))).filter(Boolean);
    if (feasible && feasible.checked) conditions.push(({ row }) => row.dataset.feasible === "yes");
    if (status.value) conditions.push(({ row }) => row.dataset.status === status.value);
    let count = 0;
    rows.forEach((each) => {
      const stays = conditions.every((holds) => holds(each));
      each.row.hidden = !stays;
      count += stays;
    });
    shown.textContent = `${count} of ${rows.length} case${rows.length === 1 ? "" : "s"} shown`;
    problem.textContent = problems.join(" ");
  }

  function clear() {
    words.value = "";
    status.value = "";
    if (feasible) feasible.checked = false;
    filter();
  }

  // ---- what the page's links to a case lead to ----

  function reveal() {
    const row = document.getElementById(window.location.hash.slice(1))?.closest("tr");
    if (!row || row.parentElement !== body) return;
    if (row.hidden) clear();
    row.scrollIntoView({ block: "center", inline: "nearest" });
  }

  // ---- from a plain table to one that answers ----

  heads.forEach((head, i) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    button.addEventListener("click", () => sortBy(i));
    head.append(button);
    head.setAttribute("aria-sort", "none");
  });
  words.addEventListener("input", filter);
  status.addEventListener("change", filter);
  feasible?.addEventListener("change", filter);
  document.getElementById("cases-clear").addEventListener("click", clear);
  window.addEventListener("hashchange", reveal);
  controls.hidden = false;
  filter(); // a browser may have kept what was typed before
  reveal();
})();
