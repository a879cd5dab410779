"use strict";
// What the server refuses is said on the page.
(() => {
  const warn = (words) => {
    const place = document.getElementById("warned");
    if (place) place.textContent = words;
  };
  document.addEventListener("htmx:beforeRequest", () => warn(""));
  document.addEventListener("htmx:responseError", (event) => warn(event.detail.xhr.responseText));
  document.addEventListener("htmx:sendError", () => warn("The server does not answer."));
})();
