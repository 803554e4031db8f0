// The figures of a proposal move while it is typed; nothing is saved.

const PAUSE = 350;
const LONG = 400;

export function preview() {
  const form = document.querySelector("form[data-preview]");
  const target = document.getElementById("preview");
  const told = document.getElementById("busy");
  const now = document.getElementById("now");
  if (!form || !target) return;
  let timer = 0;
  let asked = null;

  async function ask() {
    asked?.abort();
    const mine = (asked = new AbortController());
    const slow = setTimeout(() => (told.textContent = "Working it out…"), LONG);
    target.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.dataset.preview, {
        method: "POST",
        body: new URLSearchParams(new FormData(form)),
        signal: mine.signal,
        headers: { accept: "text/html" },
      });
      const text = await answer.text();
      if (!answer.ok) throw new Error(String(answer.status));
      const piece = new DOMParser().parseFromString(text, "text/html");
      target.replaceChildren(...piece.body.childNodes);
      now.textContent = target.querySelector("[data-gist]")?.dataset.gist ?? "";
      told.textContent = "";
    } catch (error) {
      if (error.name !== "AbortError") told.textContent = "The figures could not be worked out just now; Show tries again.";
    } finally {
      clearTimeout(slow);
      if (mine === asked) {
        target.removeAttribute("aria-busy");
      }
    }
  }

  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, PAUSE);
  });
}
