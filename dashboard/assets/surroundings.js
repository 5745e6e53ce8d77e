/* Light, sunlight and dark: chosen by one button on every page, kept by the browser. */
(function () {
  "use strict";

  const LOOKS = ["light", "sunlight", "dark"];

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    surroundings: {
      next: function (_clicks, look) {
        return LOOKS[(LOOKS.indexOf(look) + 1) % LOOKS.length];
      },

      // What the styles, the figures and a screen reader are told; a finger moves otherwise than a pointer.
      dress: function (_when, look) {
        const dark = look === "dark";
        document.documentElement.dataset.look = look;
        const coarse = window.matchMedia("(pointer: coarse)").matches;
        const told = { dark: dark, sun: look === "sunlight", coarse: coarse };
        return [dark ? "dark" : "light", told, "Page in " + (dark ? "the dark" : look)];
      },
    },
  });
})();
