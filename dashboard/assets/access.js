/* Where the server asks for the passphrase again, the page shows it instead of standing still. */
(function () {
  "use strict";
  const ask = window.fetch;
  window.fetch = async function (...what) {
    const answer = await ask.apply(this, what);
    if (answer.status === 401) {
      window.location.assign("/login?because=expired&next=" + encodeURIComponent(window.location.pathname));
    }
    return answer;
  };
})();
