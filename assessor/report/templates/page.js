"use strict";
(() => {
  const one = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  // Two sounds, the take and the lick as written; one of them is heard.
  const take = one("#take");
  const demo = one("#demo");
  const demoTimes = demo ? demo.dataset.times.split(" ").map(Number) : [];
  let sound = take;
  const said = one("#said");
  let chosen = [0, 0];

  // The picture that is seen: one pass, at one width.
  const shown = () =>
    all(".pass:not([hidden]) .take .picture").find((p) => p.getClientRects().length);
  const note = (index) => one(`.note[data-note="${index}"]`, shown());
  const number = (element) => Number(element.dataset.note);
  const ofDemo = () => sound && sound === demo;
  const from = (element) =>
    ofDemo() ? demoTimes[number(element)] : Number(element.dataset.from);
  const to = (element) =>
    ofDemo() ? demoTimes[number(element) + 1] : Number(element.dataset.to);

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

  // Times and places of a system's notes, in the sound that is heard.
  function pointsOf(system) {
    system.points ??= system.dataset.places.split(" ").map((p) => p.split(",").map(Number));
    if (!ofDemo()) return system.points;
    const first = one(".note", system);
    if (!first) return [];
    return system.points.map(([, x], k) => [demoTimes[number(first) + k], x]);
  }

  // The moving line stands where the beat that is due now has its place.
  function place() {
    const now = sound ? sound.currentTime : 0;
    for (const system of all(".system", shown())) {
      const points = pointsOf(system);
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

  take.preservesPitch = demo.preservesPitch = true;
  play.addEventListener("click", () => {
    if (!sound.paused) return sound.pause();
    if (loop.checked) start(from(note(chosen[0])));
    else sound.play();
  });
  for (const either of [take, demo]) {
    for (const name of ["play", "pause", "seeked"]) {
      either.addEventListener(name, () => {
        play.textContent = sound.paused ? "Play" : "Stop";
        tick();
      });
    }
  }
  // Changed over in the middle, the other goes on from the same note.
  for (const radio of all('input[name="heard"]')) {
    radio.addEventListener("change", () => {
      const playing = !sound.paused;
      const before = all(".note", shown()).filter((n) => from(n) <= sound.currentTime);
      sound.pause();
      sound = radio.value === "demo" ? demo : take;
      if (sound.duration) seek.max = sound.duration;
      const at = before.length ? from(before.at(-1)) : 0;
      if (playing) start(at);
      else sound.currentTime = at;
    });
  }
  seek.addEventListener("input", () => {
    sound.currentTime = Number(seek.value);
  });
  one("#speed").addEventListener("change", (event) => {
    take.playbackRate = demo.playbackRate = Number(event.target.value);
  });
  const limits = () => {
    const ends = ["#first", "#last"].map((id) => one(id));
    const clip = (e) => Math.min(Math.max(Number(e.value) || 1, 1), Number(e.max)) - 1;
    choose(clip(ends[0]), clip(ends[1]));
  };
  for (const id of ["#first", "#last"]) one(id).addEventListener("change", limits);
  chosen = [0, Number(one("#last").max) - 1];
})();
