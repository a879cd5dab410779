"use strict";
(() => {
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const seen = (element) => element.getClientRects().length > 0;
  const numbers = (text) => text.trim().split(/[\s,]+/).map(Number);
  const LEAD_S = 0.03; // heard before a note
  // Browsers fail to seek in the last quarter second of a FLAC file without a seek table.
  const END_S = 0.3;
  const sounds = all("audio");

  // Straight lines between points; undefined outside of them.
  function between(xs, ys, x) {
    const k = xs.findIndex((value) => value > x);
    if (k < 1) return undefined;
    return ys[k - 1] + ((x - xs[k - 1]) / (xs[k] - xs[k - 1])) * (ys[k] - ys[k - 1]);
  }

  // One lick is heard at a time.
  function hush(but) {
    for (const sound of sounds) if (sound !== but) sound.pause();
  }

  function setUp(lick) {
    const sound = lick.querySelector("audio");
    const line = numbers(lick.dataset.line);
    const counts = line.map((_, index) => index);
    const shown = () => all(".picture", lick).find(seen);

    function start(seconds) {
      hush(sound);
      sound.currentTime = Math.max(Math.min(seconds, sound.duration - END_S), 0);
      sound.play();
    }

    function press(note) {
      reach(note);
      if (sound) start(line[Number(note.dataset.note)] - LEAD_S);
    }

    function reach(note) {
      for (const other of all(".note", lick)) other.tabIndex = -1;
      note.tabIndex = 0;
      note.focus();
    }

    for (const note of all(".note", lick)) {
      note.tabIndex = note.dataset.note === "0" ? 0 : -1;
      note.addEventListener("click", () => press(note));
      note.addEventListener("keydown", (event) => {
        const notes = all(".note", shown());
        const at = notes.indexOf(note);
        const keys = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: notes.length - 1 };
        if (event.key in keys) {
          if (notes[keys[event.key]]) reach(notes[keys[event.key]]);
        } else if (event.key === "Enter" || event.key === " ") {
          press(note);
        } else {
          return;
        }
        event.preventDefault();
      });
    }
    if (!sound) return;

    const play = lick.querySelector(".play");
    const named = play.getAttribute("aria-label");

    // The moving line stands where what is heard now has its place.
    function place() {
      const along = sound.paused ? undefined : between(line, counts, sound.currentTime);
      for (const system of all(".system", lick)) {
        if (!seen(system)) continue;
        if (!system.points) {
          const flat = numbers(system.dataset.places);
          system.points = [0, 1].map((part) => flat.filter((_, k) => k % 2 === part));
        }
        const x = along === undefined ? undefined : between(...system.points, along);
        const mark = system.querySelector(".now");
        mark.setAttribute("visibility", x === undefined ? "hidden" : "visible");
        if (x !== undefined) mark.setAttribute("transform", `translate(${x.toFixed(1)} 0)`);
      }
    }

    function tick() {
      play.textContent = sound.paused ? "Play" : "Stop";
      play.setAttribute("aria-label", sound.paused ? named : named.replace("Play", "Stop"));
      place();
      if (!sound.paused) requestAnimationFrame(tick);
    }

    play.addEventListener("click", () => (sound.paused ? start(0) : sound.pause()));
    for (const name of ["play", "pause", "ended"]) sound.addEventListener(name, tick);
    lick.querySelector(".speed").addEventListener("change", (event) => {
      sound.preservesPitch = true;
      sound.playbackRate = Number(event.target.value);
    });
    lick.querySelector(".loop").addEventListener("change", (event) => {
      sound.loop = event.target.checked;
    });
  }

  for (const lick of all(".lick")) setUp(lick);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") hush(null);
  });
})();
