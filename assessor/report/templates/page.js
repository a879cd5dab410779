"use strict";
(() => {
  const one = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const seen = (element) => element.getClientRects().length > 0;
  const numbers = (text) => text.trim().split(/[\s,]+/).map(Number);
  const LEAD_S = 0.03; // heard before a note
  const said = one("#said");
  const clips = all(".clip");
  const demo = one("#demo");
  let chosen = [0, all(".pass:first-of-type .wide .note").length - 1];
  // What is heard: the sound, when its notes are due, and where in the take it begins.
  let heard = null;
  let line = [];
  let offset = 0;
  // Notes pressed since "Choose notes" was; null when it was not.
  let choosing = null;

  // ---------------------------------------------------------------- notes

  const pass = () => one(".pass:not([hidden])");
  // The picture that is seen: one pass, at one width.
  const shown = () => all(".take .picture", pass()).find(seen);
  const note = (index) => one(`.note[data-note="${index}"]`, shown());
  const from = (element) =>
    heard === demo ? line[Number(element.dataset.note)] : Number(element.dataset.from);
  const to = (element) =>
    heard === demo ? line[Number(element.dataset.note) + 1] : Number(element.dataset.to);

  function choose(first, last) {
    chosen = [Math.min(first, last), Math.max(first, last)];
    for (const element of all(".note")) {
      const index = Number(element.dataset.note);
      element.classList.toggle("chosen", chosen[0] <= index && index <= chosen[1]);
    }
    if (heard) {
      one("#first").value = chosen[0] + 1;
      one("#last").value = chosen[1] + 1;
    }
  }

  function say(element) {
    said.textContent = element.getAttribute("aria-label");
  }

  function reach(element) {
    for (const other of all(".note", shown())) other.tabIndex = -1;
    element.tabIndex = 0;
    element.focus();
    say(element);
  }

  function press(element, extend) {
    const index = Number(element.dataset.note);
    reach(element);
    if (choosing) return chooseOn(index);
    if (extend) choose(chosen[0], index);
    else choose(index, index);
    if (heard && !extend) start(from(element));
  }

  // By touch: the first note, then the last, then they are heard over and over.
  function chooseOn(index) {
    choosing.push(index);
    choose(choosing[0], index);
    if (choosing.length < 2) return (said.textContent = "Now press the last note.");
    stopChoosing();
    one("#loop").checked = true;
    start(from(note(chosen[0])));
  }

  function stopChoosing() {
    choosing = null;
    one("#choose").setAttribute("aria-pressed", "false");
  }

  for (const element of all(".note")) {
    element.tabIndex = element.dataset.note === "0" ? 0 : -1;
    element.addEventListener("click", (event) => press(element, event.shiftKey));
    element.addEventListener("pointerenter", () => say(element));
    element.addEventListener("keydown", (event) => {
      const index = Number(element.dataset.note);
      const steps = { ArrowRight: 1, ArrowLeft: -1 };
      const ends = { Home: note(0), End: all(".note", shown()).at(-1) };
      if (event.key in steps || event.key in ends) {
        const target = ends[event.key] || note(index + steps[event.key]);
        if (target) {
          if (event.shiftKey) choose(chosen[0], Number(target.dataset.note));
          reach(target);
        }
      } else if (event.key === "Enter" || event.key === " ") {
        press(element, event.shiftKey);
      } else {
        return;
      }
      event.preventDefault();
    });
  }

  for (const radio of all('input[name="pass"]')) {
    radio.addEventListener("change", () => {
      for (const one of all(".pass")) one.hidden = one.dataset.pass !== radio.value;
      if (heard) listen(undefined);
    });
  }

  const here = one("#hear-place");
  if (here) {
    here.addEventListener("click", () => {
      const best = one('input[name="pass"][checked]');
      if (best && !best.checked) best.click();
      choose(Number(here.dataset.first), Number(here.dataset.last));
      const first = note(chosen[0]);
      first.scrollIntoView({ block: "center" });
      reach(first);
      if (heard) {
        one("#loop").checked = true;
        start(from(first));
      }
    });
  }

  if (!clips.length) return;

  // ---------------------------------------------------------------- sound

  const play = one("#play");
  const seek = one("#seek");
  const loop = one("#loop");
  const now = () => heard.currentTime + offset;

  // Straight lines between points; undefined outside of them.
  function between(xs, ys, x) {
    const k = xs.findIndex((value) => value > x);
    if (k < 1) return undefined;
    return ys[k - 1] + ((x - xs[k - 1]) / (xs[k] - xs[k - 1])) * (ys[k] - ys[k - 1]);
  }
  const counts = () => line.map((_, index) => index);
  // How far along the notes: 3.5 is half way through the fourth.
  const along = () => between(line, counts(), now());

  // Hear what is asked for: a pass of the take, or the lick; at the same note.
  function listen(at) {
    const written = one('input[name="heard"]:checked').value === "demo";
    const next = written ? demo : clips[Number(pass().dataset.clip)];
    const going = heard !== null && !heard.paused;
    if (heard !== null && heard !== next) heard.pause();
    heard = next;
    line = numbers(written ? demo.dataset.line : pass().dataset.line);
    offset = Number(heard.dataset.start);
    seek.min = offset;
    seek.max = offset + Number(heard.dataset.length);
    heard.preservesPitch = true;
    heard.playbackRate = Number(one("#speed").value);
    if (at === undefined) heard.pause();
    else if (going) start(between(counts(), line, at) ?? line[0]);
    else goTo(between(counts(), line, at) ?? line[0]);
    tick();
  }

  function goTo(seconds) {
    const last = Number(heard.dataset.length);
    heard.currentTime = Math.max(Math.min(seconds - offset, last), 0);
  }

  function start(seconds) {
    goTo(seconds - LEAD_S);
    heard.play();
  }

  // A loop ends where its last note stops, or where the next one starts.
  function loopEnd() {
    const next = note(chosen[1] + 1);
    const end = Math.max(to(note(chosen[1])), from(note(chosen[1])) + 0.05);
    return next ? Math.max(Math.min(from(next), end + 0.3), end) : end;
  }

  // The moving line stands where what is due now has its place.
  function place() {
    const due = heard.paused && heard.currentTime === 0 ? undefined : along();
    for (const system of all(".system")) {
      if (!seen(system)) continue;
      if (!system.points) {
        const flat = numbers(system.dataset.places);
        system.points = [0, 1].map((part) => flat.filter((_, k) => k % 2 === part));
      }
      const x = due === undefined ? undefined : between(...system.points, due);
      const mark = one(".now", system);
      mark.setAttribute("visibility", x === undefined ? "hidden" : "visible");
      if (x !== undefined) mark.setAttribute("transform", `translate(${x.toFixed(1)} 0)`);
    }
  }

  function tick() {
    if (loop.checked && !heard.paused && now() >= loopEnd()) {
      goTo(from(note(chosen[0])) - LEAD_S);
    }
    seek.value = now();
    // not more than there is, while silence follows
    one("#clock").textContent = `${Number(seek.value).toFixed(1)} s`;
    play.textContent = heard.paused ? "Play" : "Stop";
    place();
    if (!heard.paused) requestAnimationFrame(tick);
  }

  play.addEventListener("click", () => {
    if (!heard.paused) return heard.pause();
    if (loop.checked) start(from(note(chosen[0])));
    else heard.play();
  });
  for (const sound of [...clips, demo]) {
    for (const name of ["play", "pause", "seeked"]) sound.addEventListener(name, tick);
  }
  for (const radio of all('input[name="heard"]')) {
    radio.addEventListener("change", () => listen(along() ?? 0));
  }
  seek.addEventListener("input", () => {
    goTo(Number(seek.value));
  });
  one("#speed").addEventListener("change", (event) => {
    heard.playbackRate = Number(event.target.value);
  });
  const limits = () => {
    const ends = ["#first", "#last"].map((id) => one(id));
    const clip = (e) => Math.min(Math.max(Number(e.value) || 1, 1), Number(e.max)) - 1;
    choose(clip(ends[0]), clip(ends[1]));
  };
  one("#choose").addEventListener("click", (event) => {
    if (choosing) return stopChoosing();
    choosing = [];
    event.currentTarget.setAttribute("aria-pressed", "true");
    said.textContent = "Press the first note that is to be repeated.";
  });
  for (const id of ["#first", "#last"]) one(id).addEventListener("change", limits);
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    heard.pause();
    stopChoosing();
  });
  listen(undefined);
})();
