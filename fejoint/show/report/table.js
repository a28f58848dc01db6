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
  // In bars, |name|, a column is compared by its magnitude.
  function comparison(text) {
    let found = null;
    columns.forEach(({ name }, column) => {
      for (const ofMagnitude of [false, true]) {
        const after = afterName(text, name, ofMagnitude);
        const rest = after === null ? null : SIGN.exec(after);
        if (rest && (!found || name.length > columns[found.column].name.length)) {
          found = { column, ofMagnitude, sign: SAME[rest[1]] ?? rest[1], than: rest[2].trim() };
        }
      }
    });
    return found;
  }

  // Returns what comes after a column's name, in bars or not; null where the text does not begin with it.
  function afterName(text, name, inBars) {
    const from = inBars ? /^\|\s*/.exec(text)?.[0].length : 0;
    if (from === undefined || !text.slice(from).toLowerCase().startsWith(name.toLowerCase())) return null;
    const after = text.slice(from + name.length);
    return inBars ? (/^\s*\|(.*)$/.exec(after)?.[1] ?? null) : after;
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
      const alone = columns.find(({ name, isNumber }) => isNumber && afterName(text, name, true)?.trim() === "");
      if (alone) {
        say(`|${alone.name}|: a sign and a number are missing after it, such as < 10.`);
        return null;
      }
      const rest = /^(\S+?)\s*(?:<=|>=|!=|≤|≥|<|>|=)/.exec(text);
      const named = rest?.[1].replace(/^\|(.*)\|$/, "$1");
      if (SIGN.test(text)) say(`A column is missing before ${SIGN.exec(text)[1]}: the text was looked for as it stands.`);
      else if (rest) say(`There is no column ${named}: the text was looked for as it stands.`);
      const wanted = text.toLowerCase();
      return (each) => each.all.includes(wanted);
    }
    const { column, ofMagnitude, sign, than } = found;
    const { name, isNumber } = columns[column];
    if (than === "") { // still being typed
      say(`${ofMagnitude ? `|${name}|` : name} ${sign}: a ${isNumber ? "number" : "text"} is missing after it.`);
      return null;
    }
    if (ofMagnitude && !isNumber) {
      say(`${name} holds texts, which have no magnitude.`);
      return null;
    }
    const size = ofMagnitude ? Math.abs : (value) => value;
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
      const same = (each) => size(each.values[column]) === number || size(Number(each.texts[column])) === number;
      return (each) => each.values[column] !== null && same(each) === (sign === "=");
    }
    return (each) => each.values[column] !== null && HOLDS[sign](size(each.values[column]), number);
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
