"use strict";
(() => {
  const one = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const sound = one("#sound");
  const said = one("#said");
  let chosen = [0, 0];

  // The picture that is seen: one pass, at one width.
  const shown = () =>
    all(".pass:not([hidden]) .take .picture").find((p) => p.getClientRects().length);
  const note = (index) => one(`.note[data-note="${index}"]`, shown());
  const from = (element) => Number(element.dataset.from);
  const to = (element) => Number(element.dataset.to);

  function choose(first, last) {
    chosen = [Math.min(first, last), Math.max(first, last)];
    for (const element of all(".note")) {
      const index = Number(element.dataset.note);
      element.classList.toggle("chosen", chosen[0] <= index && index <= chosen[1]);
    }
    if (sound) {
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
    if (extend) choose(chosen[0], index);
    else choose(index, index);
    if (sound && !extend) start(from(element));
  }

  function start(seconds) {
    sound.currentTime = Math.max(seconds - 0.03, 0);
    sound.play();
  }

  // A loop ends where its last note stops, or where the next one starts.
  function loopEnd() {
    const next = note(chosen[1] + 1);
    const end = Math.max(to(note(chosen[1])), from(note(chosen[1])) + 0.05);
    return next ? Math.max(Math.min(from(next), end + 0.3), end) : end;
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
      for (const pass of all(".pass")) pass.hidden = pass.dataset.pass !== radio.value;
      place();
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
      if (sound) {
        one("#loop").checked = true;
        start(from(first));
      }
    });
  }

  // The moving line stands where the beat that is due now has its place.
  function place() {
    const now = sound ? sound.currentTime : 0;
    for (const system of all(".system", shown())) {
      system.points ??= system.dataset.places.split(" ").map((p) => p.split(",").map(Number));
      const points = system.points;
      const line = one(".now", system);
      const k = points.findIndex(([time]) => time > now);
      const inside = k > 0 && !(sound.paused && now === 0);
      line.setAttribute("visibility", inside ? "visible" : "hidden");
      if (inside) {
        const [[t0, x0], [t1, x1]] = [points[k - 1], points[k]];
        const x = x0 + ((now - t0) / (t1 - t0)) * (x1 - x0);
        line.setAttribute("transform", `translate(${x.toFixed(1)} 0)`);
      }
    }
  }

  if (!sound) return;
  const play = one("#play");
  const seek = one("#seek");
  const loop = one("#loop");

  function tick() {
    if (loop.checked && !sound.paused && sound.currentTime >= loopEnd()) {
      sound.currentTime = Math.max(from(note(chosen[0])) - 0.03, 0);
    }
    seek.value = sound.currentTime;
    one("#clock").textContent = `${sound.currentTime.toFixed(1)} s`;
    place();
    if (!sound.paused) requestAnimationFrame(tick);
  }

  sound.preservesPitch = true;
  play.addEventListener("click", () => {
    if (!sound.paused) return sound.pause();
    if (loop.checked) start(from(note(chosen[0])));
    else sound.play();
  });
  for (const name of ["play", "pause", "seeked"]) {
    sound.addEventListener(name, () => {
      play.textContent = sound.paused ? "Play" : "Stop";
      play.setAttribute("aria-pressed", String(!sound.paused));
      tick();
    });
  }
  seek.addEventListener("input", () => {
    sound.currentTime = Number(seek.value);
  });
  one("#speed").addEventListener("change", (event) => {
    sound.playbackRate = Number(event.target.value);
  });
  const limits = () => {
    const ends = ["#first", "#last"].map((id) => one(id));
    const clip = (e) => Math.min(Math.max(Number(e.value) || 1, 1), Number(e.max)) - 1;
    choose(clip(ends[0]), clip(ends[1]));
  };
  for (const id of ["#first", "#last"]) one(id).addEventListener("change", limits);
  chosen = [0, Number(one("#last").max) - 1];
})();
