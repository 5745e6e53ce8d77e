/* Visible range of a plot's time axis: sent to the server, which returns the true samples of it. */
(function () {
  "use strict";

  const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    zoom: {
      // The two ends, null for the whole; a plot reports other layout changes too, which are ignored.
      shown: function (told, before) {
        let ends;
        if (told && "xaxis.range[0]" in told) {
          ends = [told["xaxis.range[0]"], told["xaxis.range[1]"]];
        } else if (told && "xaxis.range" in told) {
          ends = told["xaxis.range"];
        } else if (told && told["xaxis.autorange"]) {
          ends = null;
        } else {
          return window.dash_clientside.no_update;
        }
        return same(ends, before === undefined ? null : before) ? window.dash_clientside.no_update : ends;
      },
    },
  });
})();
