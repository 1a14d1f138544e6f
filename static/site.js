// Small helps for every page. Without this file every page works the same, only less quickly.
"use strict";

// Light or dark at once; without a script the link leads to a page with the same choice.
function otherTheme() {
  const chosen = document.documentElement.dataset.theme;
  const dark = chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  return dark ? "light" : "dark";
}

document.querySelector("[data-theme-switch]")?.addEventListener("click", (event) => {
  event.preventDefault();
  const theme = otherTheme();
  const secure = location.protocol === "https:" ? "; Secure" : "";
  document.documentElement.dataset.theme = theme;
  document.cookie = `theme=${theme}; Path=/; Max-Age=31536000; SameSite=Lax${secure}`;
  announce(`Pages are ${theme} now.`);
});

// Says `words` to whoever listens to the page rather than looks at it.
function announce(words) {
  const announcer = document.getElementById("announcer");
  if (announcer) announcer.textContent = words;
}

// A region that was swapped is announced by what it says of itself first.
document.addEventListener("htmx:afterSwap", (event) => {
  const status = event.target.querySelector?.("[role=status], [role=alert]");
  if (status) announce(status.textContent.trim());
});

document.addEventListener("htmx:sendError", () => {
  announce("The archive could not be reached. Try again.");
});

// `/` leads to the search field, unless somebody is typing.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key !== "/" || typing || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  (document.getElementById("find") ?? document.getElementById("seek")).focus();
});
