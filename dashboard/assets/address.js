/* The address says what is chosen, so that it can be kept and sent; nothing is loaded again. */
(function () {
  "use strict";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    address: {
      // The values in the order of their names, which come last; what else the address says stays.
      keep: function (...told) {
        const query = new URLSearchParams(window.location.search);
        told.pop().forEach(function (name, i) {
          query.delete(name);
          if (told[i]) {
            query.set(name, told[i]);
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
