"""Settings of the server process; read by gunicorn with ``--config``."""

import os

# One thread per worker does the arithmetic; more would only contend for the same cores.
for _library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_library, "1")

wsgi_app = "loomwright.web.app:create_app()"
bind = os.environ.get("LOOMWRIGHT_BIND") or f"127.0.0.1:{os.environ.get('LOOMWRIGHT_PORT', '8080')}"
workers = int(os.environ.get("LOOMWRIGHT_WORKERS") or os.cpu_count() or 1)

# Loading before the fork makes a faulty table stop the start instead of each worker in turn.
preload_app = True

# Each request is a few milliseconds of arithmetic and nothing is kept between requests, so there
# is nothing to manage while running.
control_socket_disable = True

accesslog = None
errorlog = "-"
loglevel = "warning"
