"""What operators see of the service: metrics, a line for each request, spans.

All of it is off unless a setting turns it on. One middleware (``exchange.py``) sees each request
begin and end, and tells those who watch: ``metrics.py``, ``access_log.py`` and ``telemetry.py``.
``hooks.py`` is what the server's configuration calls. Nothing here ever holds what a caller sent:
an operation is named by our own list, and a request by an identifier of a bounded form.
"""
