// The scripts of the page and the desk are modules for browsers; the tests beside this file run in Node.

import imports from "eslint-plugin-import-x";

const named = (names) => Object.fromEntries(names.map((name) => [name, "readonly"]));

// All that a script may use without importing it: no more than it needs, so that a slip shows.
const BROWSER = [
  "Blob",
  "Event",
  "FormData",
  "URL",
  "URLSearchParams",
  "ResizeObserver",
  "clearInterval",
  "clearTimeout",
  "document",
  "fetch",
  "getComputedStyle",
  "navigator",
  "sessionStorage",
  "setInterval",
  "setTimeout",
  "window",
];

// Text from files goes into pages as text only.
const MARKUP = ["innerHTML", "outerHTML", "insertAdjacentHTML", "createContextualFragment", "write", "writeln"];

const RULES = {
  "array-callback-return": "error",
  curly: ["error", "multi-line"],
  eqeqeq: "error",
  "guard-for-in": "error",
  "no-alert": "off", // a question before something is lost
  "no-async-promise-executor": "error",
  "no-class-assign": "error",
  "no-const-assign": "error",
  "no-constant-binary-expression": "error",
  "no-constant-condition": "error",
  "no-dupe-args": "error",
  "no-dupe-else-if": "error",
  "no-dupe-keys": "error",
  "no-duplicate-case": "error",
  "no-eval": "error",
  "no-fallthrough": "error",
  "no-func-assign": "error",
  "no-global-assign": "error",
  "no-implicit-globals": "error",
  "no-implied-eval": "error",
  "no-import-assign": "error",
  "no-irregular-whitespace": "error",
  "no-loss-of-precision": "error",
  "no-new-func": "error",
  "no-prototype-builtins": "error",
  "no-redeclare": "error",
  "no-script-url": "error",
  "no-self-assign": "error",
  "no-self-compare": "error",
  "no-sparse-arrays": "error",
  "no-undef": ["error", { typeof: true }],
  "no-unreachable": "error",
  "no-unsafe-finally": "error",
  "no-unused-vars": ["error", { argsIgnorePattern: "^_" }],
  "no-use-before-define": ["error", { functions: false, variables: false }],
  "no-var": "error",
  "prefer-const": ["error", { destructuring: "all" }],
  "use-isnan": "error",
  "valid-typeof": "error",
  "import-x/export": "error",
  "import-x/first": "error",
  "import-x/named": "error",
  "import-x/no-cycle": "error",
  "import-x/no-duplicates": "error",
  "import-x/no-mutable-exports": "off", // a state that one module sets and others read
  "import-x/no-self-import": "error",
  "import-x/no-unresolved": "error",
};

export default [
  { linterOptions: { reportUnusedDisableDirectives: "error" } },
  {
    files: ["**/*.js", "**/*.mjs"],
    plugins: { "import-x": imports },
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    settings: { "import-x/extensions": [".js", ".mjs"] },
    rules: RULES,
  },
  {
    files: ["scout/**/*.js"],
    languageOptions: { globals: named(BROWSER) },
    rules: {
      "no-restricted-properties": ["error", ...MARKUP.map((property) => ({ property, message: "Text goes in as text." }))],
      "no-restricted-syntax": [
        "error",
        { selector: "ImportExpression", message: "The bundler takes none." },
        { selector: "ExportDefaultDeclaration, ExportAllDeclaration, ExportSpecifier", message: "The bundler takes none." },
        { selector: "ImportDefaultSpecifier, ImportNamespaceSpecifier", message: "The bundler takes none." },
      ],
      "import-x/no-nodejs-modules": "error",
    },
  },
  // The worker of a map on a web space: its own globals, and what is written above it.
  {
    files: ["scout/page/installed/*.js"],
    languageOptions: { globals: named(["FILES", "Request", "Response", "VERSION", "caches", "self"]) },
  },
  // Leaflet, and the function in which folium makes the map.
  { files: ["scout/page/*.js"], languageOptions: { globals: named(["L"]) } },
  { files: ["scout/page/map.js"], languageOptions: { globals: named(["makeMap"]) } },
  {
    files: ["tests/js/*.mjs"],
    languageOptions: { globals: named(["URL", "process"]) },
    rules: { "import-x/no-unresolved": ["error", { ignore: ["^node:"] }] },
  },
];
