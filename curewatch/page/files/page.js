"use strict";
// Asks every few seconds, and shows UNKNOWN whenever it cannot be sure that what it shows is new.
// Three guards stand beside each other: this clock, the word that is taken away before the page sleeps,
// and an animation of the style that hides the word even if this script stands still.
(() => {
  const EVERY = 5, OLD = 35, LOOKED = 75, PATIENCE = 20, CLOCK = 120, AGAIN = 25; // s
  const $ = (id) => document.getElementById(id);
  const sections = ["todo", "deadline", "alerts", "layers", "coming", "chart", "readings", "sheds"];
  const shown = {};
  let answered = null;   // when the question of the last answer was asked, on both clocks
  let sleep = 0;         // how often the page went to sleep: an answer from before counts for nothing
  let asking = false, jobs = [], asked = null, undo = null, unsure = null, busy = false, opened = "", lastTime = "", lastFetch = -1e9;

  const now = () => ({ steady: performance.now() / 1000, wall: Date.now() / 1000 });
  const age = (then) => {
    const at = now();
    return Math.max(at.steady - then.steady, Math.abs(at.wall - then.wall));
  };
  const seconds = (stamp) => Date.parse(stamp) / 1000; // NaN of what is no stamp: never new
  const text = (id, words) => { if ($(id).textContent !== words) $(id).textContent = words; };

  function say(verdict, why) {
    const word = verdict.toUpperCase();
    text("word", word);
    text("why", why);
    $("answer").className = verdict;
    document.title = `${word} ${$("place-name").textContent}`.trim();
  }

  function unknown(why) {
    answered = null;
    document.body.classList.add("old");
    say("unknown", why);
    text("contact", lastTime ? `What stands below is as it was at ${lastTime}.` : "");
  }

  function fell_asleep() {
    sleep += 1;
    unknown("The page was asleep. Waiting for a new answer.");
  }

  function restart_expiry() {
    document.body.classList.add("old");
    void $("told").offsetWidth; // the style must see it, or its animation goes on
    document.body.classList.remove("old");
  }

  function show(answer, question) {
    lastTime = answer.time;
    for (const name of sections) {
      const place = $(name).closest("section");
      place.hidden = !(name in answer.sections);
      if (place.hidden || shown[name] === answer.sections[name]) continue;
      shown[name] = answer.sections[name];
      const held = document.activeElement && $(name).contains(document.activeElement) ? document.activeElement.dataset.acknowledge : null;
      const open = $(name).querySelector("details[open]") !== null;
      $(name).innerHTML = answer.sections[name]; // written safely by the shed: no text of a sensor or a person is an element
      if (open && $(name).querySelector("details")) $(name).querySelector("details").open = true;
      if (held) { const again = $(name).querySelector(`[data-acknowledge="${held}"]`); if (again) again.focus(); }
    }
    text("place-name", answer.shed);
    text("waiting", answer.ringing ? `(${answer.ringing})` : "");
    answered = question;
    restart_expiry();
    say(answer.verdict, answer.reason);
    text("contact", "");
    document.querySelector("nav").hidden = "sheds" in answer.sections;
    $("to-sheds").hidden = !answer.several;
    $("bench").hidden = $("to-bench").hidden = !answer.writes;
    if (answer.writes) { ask_of_job(answer.opening); places(answer.jobs); }
    tick();
    look_up();
  }

  function tick() {
    if (answered && age(answered) > OLD) unknown("No contact with the shed. Look at the board at the bench, or come back into the network.");
    const at = Date.now() / 1000;
    for (const each of document.querySelectorAll("[data-due]")) each.textContent = countdown(each.dataset.due - at);
    for (const each of document.querySelectorAll("[data-left]")) each.textContent = left(each.dataset.left - at);
    for (const each of document.querySelectorAll("[data-since]")) each.textContent = span(at - each.dataset.since);
    if (undo) {
      const rest = Math.floor(undo.until - performance.now() / 1000);
      if (rest > 0) $("undo").textContent = `Undo (${rest} s)`; else forget();
    }
  }

  const two = (number) => String(number).padStart(2, "0");
  function countdown(seconds) {
    const rest = Math.max(0, Math.floor(seconds));
    const minutes = Math.floor(rest / 60);
    return minutes < 10 ? `${minutes}:${two(rest % 60)} min` : `${Math.floor(minutes / 60)}:${two(minutes % 60)} h`;
  }
  const left = (seconds) => (seconds > 0 ? `${countdown(seconds)} left` : `${span(-seconds)} ago`);
  function span(seconds) {
    const passed = Math.max(0, seconds);
    if (passed < 90) return `${Math.floor(passed)} s`;
    return passed < 7200 ? `${Math.floor(passed / 60)} min` : `${Math.floor(passed / 3600)} h`;
  }

  // ---- asking

  async function ask() {
    if (asking || document.visibilityState === "hidden") return;
    asking = true;
    lastFetch = performance.now() / 1000;
    const question = now(), slept = sleep;
    try {
      const reply = await fetch("look", { cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE * 1000) });
      const answer = await reply.json();
      if (slept !== sleep) return;
      if (!reply.ok) unknown(refusal(reply.status, answer.rejected));
      else if (!(Math.abs(Date.now() / 1000 - seconds(answer.at)) <= CLOCK)) unknown(clock(seconds(answer.at)));
      else if (!(seconds(answer.at) - seconds(answer.looked) <= LOOKED)) unknown("The shed's last look is too old.");
      else if (age(question) <= OLD) show(answer, question);
    } catch {
      if (slept === sleep && answered) text("contact", `No contact since ${lastTime}.`);
      else if (slept === sleep) text("why", "No contact with the shed. Look at the board at the bench, or come back into the network.");
    } finally {
      asking = false;
    }
  }

  function refusal(status, why) {
    if (status === 403) return "This phone is not let in any more. Ask for a new code: curewatch page";
    return `The shed cannot answer: ${why || status}.`;
  }

  function clock(at) {
    const off = Date.now() / 1000 - at;
    const by = Math.abs(off) < 7200 ? `${Math.round(Math.abs(off) / 60)} min` : `${Math.round(Math.abs(off) / 3600)} h`;
    return `This phone's clock is ${by} ${off > 0 ? "ahead of" : "behind"} the shed's. Set the one that is wrong.`;
  }

  // ---- telling

  function places(found) {
    jobs = found;
    options($("job"), found.map((each) => [each.job, `${each.job} ${each.title}`]));
    if (opened && found.some((each) => each.job === opened)) { $("job").value = opened; opened = ""; }
    if (!found.length) $("opening").open = true;
    part_options();
  }

  function options(select, pairs) {
    const before = select.options.length ? select.value : null;
    const wanted = JSON.stringify(pairs);
    if (select.dataset.shown === wanted) return;
    select.dataset.shown = wanted;
    select.replaceChildren(...pairs.map(([value, words]) => new Option(words, value)));
    if (pairs.some(([value]) => value === before)) select.value = before;
  }

  const job = () => jobs.find((each) => each.job === $("job").value);
  const part = () => ($("part").value ? $("part").value.slice(1) : $("new-part").value);

  function part_options() {
    const chosen = job();
    const fresh = $("new-part").value.trim();
    options($("part"), chosen ? [...chosen.parts.map((each) => [`=${each.part}`, each.part]), ["", "a new part …"]] : []);
    if (fresh && chosen && chosen.parts.some((each) => each.part === fresh)) {
      $("part").value = `=${fresh}`;
      $("new-part").value = "";
    }
    here();
  }

  function here() {
    const chosen = job(), fresh = !!chosen && !$("part").value;
    $("new-part").hidden = $("new-part-label").hidden = !fresh;
    const found = chosen && chosen.parts.find((each) => each.part === part());
    text("layer", chosen ? (found && found.layer ? found.layer.text : "No layer of this part is running.") : "No job is open. Open one below.");
    for (const key of $("keys").children) key.disabled = !chosen || busy;
    $("told-lately").hidden = !chosen || !chosen.told.length;
    $("lately").replaceChildren(...(chosen ? chosen.told : []).map((each) => Object.assign(document.createElement("li"), { textContent: each.text })));
  }

  const random = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (each) => each.toString(16).padStart(2, "0")).join("");

  async function tell(body) {
    // Sent again when no answer comes: a press has a number of its own, so that it is written once.
    // Not for long: a press stands for the moment at which it was made.
    const begun = now();
    busy = true;
    here();
    try {
      for (;;) {
        try {
          const reply = await fetch("tell", { method: "POST", cache: "no-store", credentials: "same-origin",
            headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal: AbortSignal.timeout(PATIENCE * 1000) });
          const answer = await reply.json();
          if (reply.status !== 503) return answer;
        } catch { /* no contact: once more */ }
        if (age(begun) > AGAIN) return { lost: true };
        text("said", "No answer yet. It is sent again …");
        await new Promise((done) => setTimeout(done, 3000));
      }
    } finally {
      busy = false;
      here();
    }
  }

  async function press(key, words, sure, id) {
    if (busy || !job()) return;
    const body = { do: "press", job: job().job, part: part(), key, id: id || random(), text: words || "", sure: !!sure };
    text("said", "…");
    const answer = await tell(body);
    if (answer.question) return question(answer.question, body);
    told(answer, body);
    ask();
  }

  function told(answer, body) {
    unsure = answer.lost ? body : null;
    if (answer.lost) text("said", `${body.key}: no answer, so it may be written or not. It is looked up when contact is back.`);
    else text("said", answer.said || answer.rejected || "It was not taken.");
    if (answer.job) {
      opened = answer.job;
      $("opening").open = false;
      $("open-job").reset();
    }
    if (answer.number) {
      undo = { job: body.job, part: body.part, number: answer.number, until: performance.now() / 1000 + answer.undo_s };
      $("undo").hidden = false;
      if (body.key === "note") $("words").value = "";
    }
    tick();
  }

  async function look_up() {
    const body = unsure;
    if (body && !busy) told(await tell({ do: "recall", job: body.job || "", part: body.part || "", id: body.id }), body);
  }

  // ---- a job is opened: the terminal's questions

  function ask_of_job(questions) {
    const wanted = JSON.stringify(questions);
    if ($("questions").dataset.shown === wanted) return;
    $("questions").dataset.shown = wanted;
    $("questions").replaceChildren(...questions.flatMap((each) => {
      const words = each.needed ? each.question : `${each.question}; ${each.usual || "nothing"} if empty`;
      const label = Object.assign(document.createElement("label"), { htmlFor: `of-${each.key}`, textContent: words });
      const input = Object.assign(document.createElement("input"), { id: `of-${each.key}`, name: each.key, maxLength: 2000, autocomplete: "off", required: each.needed });
      return [label, input];
    }));
  }

  async function open_job() {
    if (busy) return;
    const answers = Object.fromEntries([...$("questions").querySelectorAll("input")].map((each) => [each.name, each.value]));
    const body = { do: "open", key: "open a job", id: random(), answers };
    text("said", "…");
    told(await tell({ do: body.do, id: body.id, answers }), body);
    ask();
  }

  function question(words, body) {
    asked = body;
    text("said", "");
    text("question", words);
    $("asking").hidden = false;
    $("asking").focus();
  }

  function answered_question(kept) {
    const body = asked;
    asked = null;
    $("asking").hidden = true;
    if (kept) press(body.key, body.text, true, body.id);
    else text("said", "Left out; nothing was written.");
  }

  function forget() {
    undo = null;
    $("undo").hidden = true;
  }

  async function withdraw() {
    if (!undo || busy) return;
    const { job: of, part: where, number } = undo;
    const answer = await tell({ do: "undo", job: of, part: where, number });
    text("said", answer.said || answer.rejected || "No answer: look at what was told last when contact is back.");
    forget();
    ask();
  }

  async function acknowledge(button) {
    button.disabled = true;
    const answer = await tell({ do: "acknowledge", numbers: button.dataset.acknowledge.split(" ").map(Number) });
    button.disabled = false;
    text("said", answer.said || answer.rejected || "No answer: not known whether it was acknowledged.");
    if (answer.lost || answer.rejected) text("contact", $("said").textContent);
    $("h-alerts").setAttribute("tabindex", "-1");
    $("h-alerts").focus();
    ask();
  }

  document.addEventListener("click", (event) => {
    const pressed = event.target.closest("button");
    if (!pressed) return;
    if (pressed.dataset.acknowledge) acknowledge(pressed);
    else if (pressed.dataset.key === "note") { $("writing").hidden = false; $("words").focus(); }
    else if (pressed.dataset.key) press(pressed.dataset.key);
    else if (pressed.id === "keep" || pressed.id === "leave") answered_question(pressed.id === "keep");
    else if (pressed.id === "leave-note") $("writing").hidden = true;
    else if (pressed.id === "undo") withdraw();
  });
  $("writing").addEventListener("submit", (event) => {
    event.preventDefault();
    $("writing").hidden = true;
    press("note", $("words").value);
  });
  $("open-job").addEventListener("submit", (event) => {
    event.preventDefault();
    open_job();
  });
  $("job").addEventListener("change", part_options);
  $("part").addEventListener("change", here);

  // ---- sleeping and waking: the word is taken away before, so that the first frame afterwards has none

  document.addEventListener("visibilitychange", () => (document.visibilityState === "hidden" ? fell_asleep() : ask()));
  document.addEventListener("freeze", fell_asleep);
  document.addEventListener("resume", () => { fell_asleep(); ask(); });
  window.addEventListener("pagehide", fell_asleep);
  window.addEventListener("pageshow", (event) => { if (event.persisted) fell_asleep(); ask(); });
  window.addEventListener("online", ask);
  setInterval(() => {
    tick();
    if (performance.now() / 1000 - lastFetch >= EVERY) ask();
  }, 1000);
  ask();
})();
