// Draws the reference from the document of this service. No other host is asked for anything.
"use strict";

// Swagger UI's parts in an order of our own: one main landmark, headings without a gap, no choice
// among servers where there is one, and no link inside a button.
function worksheet(system) {
  const make = system.React.createElement;

  function Worksheet({ getComponent, specSelectors }) {
    const part = (name) => make(getComponent(name, true));
    if (specSelectors.loadingStatus() === "loading") {
      return make("p", null, "The reference is being read.");
    }
    if (specSelectors.loadingStatus() !== "success") {
      return make("div", { className: "swagger-ui" }, part("errors"));
    }
    return make(
      "div",
      { className: "swagger-ui" },
      part("SvgAssets"),
      part("errors"),
      part("InfoContainer"),
      specSelectors.securityDefinitions() ? part("AuthorizeBtnContainer") : null,
      make("h2", null, "Operations"),
      part("FilterContainer"),
      part("operations"),
      part("Models"),
    );
  }

  return { components: { Worksheet, DeepLink: ({ text }) => make("span", null, text) } };
}

const dark = window.matchMedia("(prefers-color-scheme: dark)");
const followScheme = () => document.documentElement.classList.toggle("dark-mode", dark.matches);
dark.addEventListener("change", followScheme);
followScheme();

// What Swagger UI leaves without a name, or out of reach of the keyboard.
const NAMES = [
  ["select.examples-select-element", "Example"],
  ["textarea.body-param__text", "Body of the request"],
  ["button.close-modal", "Close"],
];
const SCROLLED = "pre:not([tabindex])";

function mend(reference) {
  for (const [selector, name] of NAMES) {
    for (const found of reference.querySelectorAll(`${selector}:not([aria-label])`)) {
      found.setAttribute("aria-label", name);
    }
  }
  for (const row of reference.querySelectorAll("tr[data-param-name]")) {
    for (const field of row.querySelectorAll(":is(input, select, textarea):not([aria-label])")) {
      field.setAttribute("aria-label", row.dataset.paramName);
    }
  }
  for (const found of reference.querySelectorAll(SCROLLED)) {
    found.tabIndex = 0;
  }
  // Each table of answers is a landmark of the same name.
  for (const found of reference.querySelectorAll("table.responses-table[role=region]")) {
    found.setAttribute("role", "table");
  }
  // The window for keys begins a level too low.
  for (const found of reference.querySelectorAll(".modal-ux :is(h3, h4):not([aria-level])")) {
    found.setAttribute("role", "heading");
    found.setAttribute("aria-level", found.localName === "h3" ? "2" : "3");
  }
}

const reference = document.getElementById("reference");
new MutationObserver(() => mend(reference)).observe(reference, { childList: true, subtree: true });

SwaggerUIBundle({
  url: "/v1/openapi.json",
  dom_id: "#reference",
  plugins: [worksheet],
  layout: "Worksheet",
  deepLinking: true,
  defaultModelsExpandDepth: 0,
  displayRequestDuration: true,
  docExpansion: "list",
  filter: true,
  // Plain text can be read on paper and in the dark; the colours of the highlighter cannot.
  syntaxHighlight: { activated: false },
  // Documents are checked where they are made; the usual validator is a service of others.
  validatorUrl: null,
});
