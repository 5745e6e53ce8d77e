/* The link of the page that is shown says so. */
(function () {
  "use strict";

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    navigation: {
      mark: function (path, links) {
        return links.map((link) => (link.path === path ? "page" : "false"));
      },
    },
  });
})();
