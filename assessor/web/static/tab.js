"use strict";
// Tab whose notes are reached by arrow keys and pressed by Enter, or touched.
function tabOf(section, { press, reached = () => {}, key = () => false }) {
  const all = (selector, within) => [...within.querySelectorAll(selector)];
  const shown = () => all(".picture", section).find((one) => one.getClientRects().length);
  const notes = () => all(".note", shown());

  const reach = (index) => notes()[index]?.focus();

  // However it got there: by arrow keys, by tab, by touch.
  function focused(note, index) {
    for (const other of all(".note", section)) {
      other.tabIndex = -1;
      other.classList.toggle("chosen", other.dataset.note === String(index));
    }
    note.tabIndex = 0;
    reached(index, note.getAttribute("aria-label"));
  }

  for (const note of all(".note", section)) {
    const index = Number(note.dataset.note);
    note.tabIndex = index ? -1 : 0;
    note.addEventListener("focus", () => focused(note, index));
    note.addEventListener("click", () => {
      reach(index);
      press(index);
    });
    note.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const last = notes().length - 1;
      const aim = { ArrowRight: index + 1, ArrowLeft: index - 1, Home: 0, End: last }[event.key];
      if (aim !== undefined) reach(aim);
      else if (event.key === "Enter" || event.key === " ") press(index);
      else if (!key(event.key.toLowerCase(), index)) return;
      event.preventDefault();
    });
  }
  return { reach, count: () => notes().length };
}
