/* What only the browser can do on the page "Logbook". */
(function () {
  "use strict";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    logbook: {
      // Keep the file for the button, or say that it is too large; empty the field, so that it can come again.
      weigh: function (contents, name, largest) {
        const skip = window.dash_clientside.no_update;
        if (!contents) {
          return [skip, skip, skip];
        }
        const bytes = Math.round((contents.length - contents.indexOf(",")) * 0.75);
        if (bytes > largest) {
          return [null, name + ": it is larger than the " + Math.floor(largest / 1e6) + " MB that a page may take in. "
            + "Take it in with reciprocal restore FILE on the machine that serves this page.", null];
        }
        return [{ name: name, contents: contents }, name + ", " + Math.ceil(bytes / 1e3) + " kB", null];
      },
    },
  });
})();
