/* The units above the page fold away when something else is pressed, or with Escape. */
(function () {
  "use strict";

  const close = (except) => document.querySelectorAll("details.units[open]").forEach(function (units) {
    if (!units.contains(except)) {
      units.open = false;
    }
  });
  document.addEventListener("pointerdown", (event) => close(event.target));
  document.addEventListener("keydown", (event) => event.key === "Escape" && close(null));
})();
