// The theme for the night, kept from page to page.

export function startDim(repaint = () => {}) {
  const button = document.getElementById("dim"), root = document.documentElement;
  const dim = (yes) => {
    root.classList.toggle("dim", yes);
    button.setAttribute("aria-pressed", String(yes));
    localStorage.setItem("raysim-dim", String(yes));
    repaint();
  };
  button.addEventListener("click", () => dim(!root.classList.contains("dim")));
  dim(localStorage.getItem("raysim-dim") === "true");
}
