/* The address says what is chosen, so that it can be kept and sent; nothing is loaded again. */
(function () {
  "use strict";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    address: {
      // Each choice is a value, in the order of the names given last: "bench-boat" stands as "boat".
      keep: function (...told) {
        const half = told.length / 2;
        const query = new URLSearchParams();
        told.slice(half).forEach(function (id, i) {
          if (told[i]) {
            query.set(id.slice(id.indexOf("-") + 1), told[i]);
          }
        });
        const text = query.toString();
        window.history.replaceState(window.history.state, "", window.location.pathname
          + (text ? "?" + text : "") + window.location.hash);
        return window.dash_clientside.no_update;
      },
    },
  });
})();
