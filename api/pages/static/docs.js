// Starts the vendored viewer on the description this server gives; nothing is asked of any other host.
addEventListener("DOMContentLoaded", () => {
  const at = document.getElementById("doors");
  SwaggerUIBundle({ url: at.dataset.openapi, dom_id: "#doors", deepLinking: true, validatorUrl: null,
    queryConfigEnabled: false, presets: [SwaggerUIBundle.presets.apis], layout: "BaseLayout" });
});
