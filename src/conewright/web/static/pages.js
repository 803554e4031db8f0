// What script makes better. Every page works without it.
import { readouts } from "./readout.js";
import { preview } from "./preview.js";

// A bar for everything that takes longer than a moment; a button says once what it was asked.
function busy() {
  document.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (event.defaultPrevented || event.target.method === "get") return;
    if (button) {
      if (button.getAttribute("aria-busy") === "true") return event.preventDefault();
      button.setAttribute("aria-busy", "true");
    }
  });
  let timer = 0;
  addEventListener("beforeunload", () => {
    timer = setTimeout(() => {
      if (document.querySelector(".bar")) return;
      const bar = document.createElement("div");
      bar.className = "bar";
      bar.setAttribute("role", "progressbar");
      bar.setAttribute("aria-label", "Working it out");
      document.body.append(bar);
    }, 300);
  });
  addEventListener("pageshow", () => {
    clearTimeout(timer);
    document.querySelector(".bar")?.remove();
    document.querySelectorAll("[aria-busy]").forEach((each) => each.removeAttribute("aria-busy"));
  });
}

// On paper every figure shows its working.
function unfold() {
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("main .figure:not([open])")];
    opened.forEach((each) => (each.open = true));
  });
  addEventListener("afterprint", () => opened.forEach((each) => (each.open = false)));
}

// Whoever comes back after saving sees the figure they opened.
function keepOpen() {
  const show = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (target instanceof HTMLDetailsElement) target.open = true;
  };
  addEventListener("hashchange", show);
  show();
  document.getElementById("problems")?.focus();
}

busy();
unfold();
keepOpen();
readouts();
preview();
