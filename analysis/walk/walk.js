"use strict";
(function () {
  var pages = Array.from(document.querySelectorAll(".step"));
  var marks = Array.from(document.querySelectorAll(".here a"));
  var opening = document.querySelector(".opening");
  if (!pages.length) { return; }
  var at = 0;
  function wanted() {
    var found = pages.findIndex(function (page) { return "#" + page.id === location.hash; });
    return found < 0 ? at : found;
  }
  function show(number) {
    at = Math.max(0, Math.min(pages.length - 1, number));
    opening.classList.toggle("shown", at === 0);
    pages.forEach(function (page, place) { page.classList.toggle("shown", place === at); });
    marks.forEach(function (mark, place) {
      if (place === at) { mark.setAttribute("aria-current", "step"); mark.scrollIntoView({ block: "nearest" }); }
      else { mark.removeAttribute("aria-current"); }
    });
    history.replaceState(null, "", "#" + pages[at].id);
    window.scrollTo(0, 0);
  }
  function open() {
    var answers = Array.from(pages[at].querySelectorAll(".asks details, .tell"));
    var next = answers.find(function (one) { return !one.open; });
    if (next) { next.open = true; next.scrollIntoView({ block: "nearest" }); } else { answers.forEach(function (one) { one.open = false; }); }
  }
  document.documentElement.classList.add("one");
  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey) { return; }
    var keys = { ArrowRight: 1, PageDown: 1, n: 1, ArrowLeft: -1, PageUp: -1, p: -1 };
    if (event.key in keys) { show(at + keys[event.key]); }
    else if (event.key === "Home") { show(0); }
    else if (event.key === "End") { show(pages.length - 1); }
    else if (event.key === "o") { open(); }
    else { return; }
    event.preventDefault();
  });
  document.querySelector(".turn").addEventListener("click", function (event) {
    var by = event.target.getAttribute("data-by");
    if (by === "open") { open(); } else if (by) { show(at + Number(by)); }
  });
  window.addEventListener("hashchange", function () { show(wanted()); });
  show(wanted());
})();
