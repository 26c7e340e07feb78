"use strict";
(() => {
  const {el, load, sheets, makesSheets} = globalThis.ringwright;
  const by = (id) => document.getElementById(id), main = document.querySelector("main");
  const ONE = [
    ["around", "planet or moon", "earth"], ["gm", "or its GM", "398600km3/s2"], ["radius", "and radius", "6378km"],
    ["ring", "altitude of the ring", "10000km"], ["ring-period", "or its period", "5:47:39.7"],
    ["slot-ahead", "slot ahead by", "86deg"], ["slot-behind", "or behind by", "40deg"],
    ["from", "comes to the ring from", "190x10000km"], ["floor", "lowest altitude", "140km"], ["ceiling", "highest altitude", "none"],
    ["revolutions", "most revolutions", "12"], ["within", "in the slot within", "3d"], ["tolerance", "in place within", "0.5deg"],
    ["got", "period read at cut-off", "5:20:01.0"],
  ];
  let shown = 0, sheeted = "", last = null, held = "", asked = false;

  // ---- what is sent
  async function post(where, given) {
    const answer = await fetch(where, {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(given)});
    if (!answer.ok) throw new Error(await answer.text());
    return answer.json();
  }
  /** Send, and say so where nobody answers. */
  async function sent(where, given) {
    try { return await post(where, given); }
    catch (fault) { gone(fault instanceof TypeError ? "" : fault.message); return null; }
  }
  function gone(why) {
    by("desk-status").textContent = why || "The desk does not answer: it has ended, or is starting again. What is shown stays; Save still works. " +
      "Where it was started again, open the address that it printed.";
  }

  // ---- the fields
  function field(key, label, unit, input) {
    const id = "field-" + key, wrong = el("p", {class: "wrong", id: id + "-wrong", role: "alert"});
    input.id = id; input.name = key; input.setAttribute("aria-describedby", wrong.id);
    const entry = el("div", {class: "entry"}, input);
    if (unit !== null) entry.append(el("span", {class: "unit"}, unit));
    return el("div", {class: "field"}, el("label", {for: id}, label), entry, wrong);
  }
  function say(input, wrong) {
    // a number does not break at the space between its thousands
    by(input.id + "-wrong").textContent = wrong.replace(/(\d) (?=\d{3})/g, "$1\u00a0");
    if (wrong) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
  }
  function makeFields(fields) {
    for (const one of fields) {
      const input = one.choices.length ? el("select", {}) : el("input", {type: "text", maxlength: 200, spellcheck: "false"});
      for (const [value, words] of one.choices) input.append(el("option", {value}, words));
      input.addEventListener("change", () => change(input));
      by("desk-fields").append(field(one.key, one.label, one.unit, input));
    }
  }
  async function change(input) {
    const typed = input.value, answer = await sent("change", {key: input.name, value: typed});
    if (answer === null || input.value !== typed) return;
    say(input, answer.wrong);
    // what is wrong stays to be mended; what was taken shows as it was understood
    input.dirty = Boolean(answer.wrong);
    if (!answer.wrong) { input.shown = input.value; showFields(answer.fields); }
  }
  function showFields(fields) {
    for (const one of fields) {
      const input = by("field-" + one.key);
      input.closest(".field").classList.toggle("changed", one.changed);
      if (input.dirty || (document.activeElement === input && input.value !== input.shown && input.shown !== undefined)) continue;
      input.value = input.shown = one.value;
      say(input, "");
    }
  }

  // ---- what comes
  async function text(where) {
    const answer = await fetch(where);
    return answer.ok ? answer.text() : "";
  }
  async function take(state) {
    if (!by("desk-fields").children.length) makeFields(state.fields);
    if (!asked) { asked = true; fill(state.question); }
    const changed = !last || JSON.stringify([last.fields, last.file]) !== JSON.stringify([state.fields, state.file]);
    last = state;
    showFields(state.fields);
    by("desk-head").textContent = `At the desk: ${state.file}`;
    by("desk-undo").disabled = !state.undo;
    by("desk-cancel").hidden = !state.planning;
    by("desk-again").hidden = Boolean(state.planning) || state.current;
    by("desk-trouble").textContent = state.trouble; by("desk-trouble").hidden = !state.trouble;
    main.classList.toggle("before", !state.current && Boolean(state.answer));
    by("desk-status").textContent = words(state);
    hear(state);
    if (changed || state.answer !== shown) held = await text("scenario");
    if (state.answer && state.answer !== shown) {
      const number = state.answer, answer = JSON.parse(await text("answer") || "null");
      if (answer && last.answer === number) { shown = number; main.hidden = false; load(answer); }
    }
    const made = `${state.answer} ${state.sheets}`;
    if (state.sheets && made !== sheeted && state.answer === shown) {
      const found = JSON.parse(await text("sheets") || "null");
      if (found) { sheeted = made; sheets(found); }
    }
  }
  function words(state) {
    const before = state.answer ? " What is shown is the answer before the last change." : "";
    if (state.planning) return `Planning, ${Math.round(state.planning.s)} s${state.planning.most ? ` of at most ${state.planning.most} s` : ""}${state.planning.words ? ": " + state.planning.words : ""}.${before}`;
    if (state.current) return "Planned.";
    return (state.cancelled ? "Cancelled." : "Not planned.") + before;
  }
  /** What is read out: that planning has begun, and how it has ended; not every word of progress. */
  function hear(state) {
    const now = state.planning ? "Planning." : state.current ? "Planned." : state.cancelled ? "Cancelled." : "Not planned.";
    if (by("desk-heard").textContent !== now) by("desk-heard").textContent = now;
  }
  let queue = Promise.resolve(), news = null;
  /** A tab in the background lets go of the server: a browser holds only a few connections to one. */
  function listen() {
    if (news) news.close();
    news = null;
    if (document.hidden) return;
    news = new EventSource("news");
    news.addEventListener("message", (event) => {
      const state = JSON.parse(event.data);
      queue = queue.then(() => take(state)).catch(() => gone(""));
    });
    news.addEventListener("error", () => gone(""));
  }
  // seconds go on between words of progress
  setInterval(() => { if (last && last.planning) { last.planning.s += 1; by("desk-status").textContent = words(last); } }, 1000);

  // ---- the one-craft question
  function fill(question) {
    for (const [key, label, example] of ONE) {
      const input = el("input", {type: "text", maxlength: 60, placeholder: example, spellcheck: "false"});
      by("one-fields").append(field("one-" + key, label, null, input));
      input.name = key; input.value = question[key] || "";
    }
  }
  by("one-fields").addEventListener("submit", async (event) => {
    event.preventDefault();
    const given = {}, inputs = [...by("one-fields").querySelectorAll("input")];
    for (const input of inputs) { say(input, ""); if (input.value.trim()) given[input.name] = input.value; }
    // lines as long as the larger letters of the answer allow
    given.width = String(Math.floor((by("one-fields").clientWidth - 28) / (parseFloat(getComputedStyle(by("one-next")).fontSize) * 0.61)));
    const answer = await sent("period", given);
    if (answer === null) return;
    by("one-trouble").textContent = "";
    if (answer.wrong === undefined) {
      by("one-answer").textContent = answer.text; by("one-whole").hidden = false;
      by("one-whole").open = by("one-whole").open || !answer.next;
      by("one-next").textContent = answer.next; by("one-next").hidden = !answer.next;
      return;
    }
    const input = inputs.find((one) => one.name === answer.field);
    if (input) { say(input, answer.wrong); input.focus(); } else by("one-trouble").textContent = answer.wrong;
  });

  by("desk-fields").addEventListener("submit", (event) => event.preventDefault());
  by("desk-undo").addEventListener("click", () => sent("undo", {}));
  by("desk-cancel").addEventListener("click", () => sent("cancel", {}));
  by("desk-again").addEventListener("click", () => sent("again", {}));
  by("desk-save").addEventListener("click", () => {
    const link = el("a", {download: last ? last.file : "scenario.toml", href: URL.createObjectURL(new Blob([held], {type: "application/toml"}))});
    document.body.append(link); link.click(); link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  });
  // what the page itself keeps in sight stands below the line of the desk
  new ResizeObserver(() => {
    const line = by("desk-line"), kept = getComputedStyle(line).position === "sticky";
    document.documentElement.style.setProperty("--above", kept ? `${line.offsetHeight}px` : "0px");
  }).observe(by("desk-line"));
  main.hidden = true;
  by("title").textContent = "Ringwright";
  makesSheets((rank) => sent("make-sheets", {rank: String(rank)}));
  document.addEventListener("visibilitychange", listen);
  listen();
})();
