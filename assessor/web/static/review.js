"use strict";
(() => {
  const one = (id) => document.getElementById(id);
  const all = (selector) => [...document.querySelectorAll(selector)];
  const work = one("work");
  const take = `/listen/${work.dataset.take}`;
  const LEAD_S = 0.15; // heard before a note
  const WORDS = { "-": "not judged yet", right: "right", wrong: "wrong", missed: "missed", unsure: "unsure" };

  let chosen = 0;
  let context = null;
  let sound = null;
  let heard = null;

  const list = (name) => one("state").dataset[name].split(" ");
  const warn = (words) => (one("warned").textContent = words);

  // ------------------------------------------------------------------ hear

  async function loaded() {
    context ||= new AudioContext();
    context.resume();
    if (sound) return sound;
    const answer = await fetch(`${take}/sound.flac`);
    if (!answer.ok) throw new Error(await answer.text());
    const begins = Number(answer.headers.get("x-begins-s"));
    sound = { begins, buffer: await context.decodeAudioData(await answer.arrayBuffer()) };
    return sound;
  }

  function hush() {
    if (heard) heard.stop();
    heard = null;
    one("play").textContent = "Play";
    delete work.dataset.playing;
  }

  async function play(index) {
    hush();
    try {
      const { begins, buffer } = await loaded();
      const at = Number(list("starts")[index] || 0) - begins - LEAD_S;
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.playbackRate.value = Number(one("speed").value);
      source.connect(context.destination);
      source.onended = () => source === heard && hush();
      source.start(0, Math.max(at, 0));
      heard = source;
      work.dataset.playing = String(index);
      one("play").textContent = "Stop";
    } catch (problem) {
      warn(problem.message);
    }
  }

  // ------------------------------------------------------------------- say

  const say = (values) => {
    warn("");
    return htmx.ajax("POST", `${take}/say`, { target: "#found", values: { blind: work.dataset.blind, ...values } });
  };
  const verdict = (value, note = chosen) => say({ what: "verdict", note, value });

  function sign(words) {
    const [first, ...more] = words.replace("*", "").split("+");
    return [WORDS[first] || first, ...more].join(", ") + (words.endsWith("*") ? ", by your ear" : "");
  }

  // Signs under the notes: shapes, and the same in words for who chooses a note.
  function paint() {
    const signs = list("signs");
    for (const note of all(".tab .note")) {
      const words = signs[Number(note.dataset.note)] || "";
      note.dataset.sign = words.replace("*", "").split("+")[0];
      note.classList.toggle("outside", words.includes("+"));
      note.classList.toggle("said", words.endsWith("*"));
    }
    told(chosen);
  }

  function told(index) {
    const note = document.querySelector(`.tab .note[data-note="${index}"]`);
    const words = list("signs")[index];
    one("noted").textContent = note && words ? `${note.getAttribute("aria-label")}: ${sign(words)}` : "";
  }

  const KEYS = {
    r: () => verdict("right"),
    w: () => verdict("wrong"),
    m: () => verdict("missed"),
    u: () => verdict("unsure"),
    x: () => verdict("tool"),
    a: () => verdict("right", "rest"),
    n: () => one("next").click(),
    e: () => {
      one("remark-on").value = "chosen";
      one("remark").focus();
    },
  };

  const tab = tabOf(document.querySelector(".tab"), {
    press: (index) => play(index),
    reached: (index) => {
      chosen = index;
      told(index);
    },
    key: (key) => key in KEYS && (KEYS[key](), true),
  });

  for (const button of all("[data-verdict]")) {
    button.addEventListener("click", () => verdict(button.dataset.verdict));
  }
  one("rest").addEventListener("click", () => verdict("right", "rest"));
  one("play").addEventListener("click", () => (heard ? hush() : play(chosen)));
  document.addEventListener("keydown", (event) => event.key === "Escape" && hush());

  for (const form of all("form[data-say]")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const values = Object.fromEntries(new FormData(form));
      if (values.note === "chosen") values.note = chosen;
      say({ what: form.dataset.say, ...values }).then(() => {
        if (!one("warned").textContent) form.reset();
      });
    });
  }

  // at the swap, not when it has settled: signs and words change in one step
  document.addEventListener("htmx:afterSwap", paint);
  document.addEventListener("htmx:responseError", (event) => warn(event.detail.xhr.responseText));
  document.addEventListener("htmx:sendError", () => warn("The program that serves this page has ended."));
  paint();
  const doubtful = list("signs").findIndex((words) => !/^(right|-)\*?$/.test(words));
  tab.reach(Math.max(doubtful, 0));
})();
