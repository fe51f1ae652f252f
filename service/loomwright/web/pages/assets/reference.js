// Draws the reference from the document that this service serves; nothing is asked of any other host.
"use strict";

SwaggerUIBundle({
  url: "/v1/openapi.json",
  dom_id: "#reference",
  deepLinking: true,
  defaultModelsExpandDepth: 0,
  displayRequestDuration: true,
  docExpansion: "list",
  filter: true,
  tryItOutEnabled: false,
  // Documents are checked where they are made; the usual validator is a stranger's service.
  validatorUrl: null,
});
