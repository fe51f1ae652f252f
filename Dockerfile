# The environment is made in one stage, cut down with its base in a second, and copied whole to an
# image of one layer, so that no layer below holds what was taken out. deploy/container/README.md
# tells how to build it, also where no image can be fetched.
#
# Any base does that has Python 3.11 with its venv module as python3.11 or python3 on PATH.
ARG BASE=python:3.11.14-slim-bookworm

FROM ${BASE} AS build
# One processor for all: code for that of the building machine would be made anew on another one.
ENV NUMBA_CPU_NAME=generic
WORKDIR /build
RUN "$(command -v python3.11 || command -v python3)" -m venv /opt/loomwright
COPY deploy/build.lock deploy/requirements.lock deploy/
RUN /opt/loomwright/bin/pip install --no-cache-dir --no-compile --no-deps --require-hashes \
        --only-binary :all: -r deploy/build.lock -r deploy/requirements.lock
COPY pyproject.toml setup.py README.md LICENSE ./
COPY openapi openapi
COPY service service
COPY deploy/container/kept_machine_code.py /opt/loomwright/lib/python3.11/site-packages/
# Out goes what nothing imports: tests of wheels, headers and sources for compilers, and Arrow's clients
# of remote services, which pyarrow does without. Byte code holds without looking at dates. The
# application answers every example as it is made, and leaves the machine code of each formula beside
# the byte code.
RUN /opt/loomwright/bin/pip install --no-cache-dir --no-compile --no-deps --no-build-isolation --no-index . \
    && /opt/loomwright/bin/pip uninstall --yes setuptools pip \
    && find /opt/loomwright/lib/python3.11/site-packages \( -type d \
            \( -path '*/numba/tests' -o -path '*/numba/*/tests' -o -path '*/llvmlite/tests' \
            -o -path '*/numpy/tests' -o -path '*/numpy/*/tests' -o -path '*/pyarrow/tests' \
            -o -path '*/pyarrow/include' -o -path '*/pyarrow/src' -o -path '*/pyarrow/includes' \
            -o -path '*/numpy/*/include' \) -o -type f \
            \( -name '*.a' -o -name '*.c' -o -name '*.h' -o -name '*.pyx' -o -name '*.pxd' \
            -o -name '*.pxi' -o -name '_flight.*.so' -o -name 'libarrow*_flight.so*' \
            -o -name '_s3fs.*.so' -o -name 'libarrow_s3.so*' \) \) -prune -exec rm -rf {} + \
    && /opt/loomwright/bin/python -m compileall -q --invalidation-mode unchecked-hash /opt/loomwright/lib \
    && /opt/loomwright/bin/python -c 'from loomwright.web.app import create_app; create_app()'

FROM ${BASE} AS root
RUN rm -rf /usr/local/bin/pip* /usr/local/bin/idle* /usr/local/bin/2to3* /usr/local/bin/pydoc* \
        /usr/local/include /usr/local/lib/python3.11/site-packages/* \
        /usr/local/lib/python3*/ensurepip /usr/lib/python3*/ensurepip /usr/share/python-wheels \
        /usr/local/lib/python3.11/test /usr/local/lib/python3.11/idlelib /usr/local/lib/python3.11/tkinter \
        /usr/share/doc /usr/share/man /usr/share/locale /var/cache/apt /var/lib/apt/lists /var/log/* /root/.cache \
    && groupadd --gid 10001 loomwright \
    && useradd --no-log-init --uid 10001 --gid 10001 --no-create-home --home-dir /nonexistent \
        --shell /usr/sbin/nologin loomwright \
    && find / -xdev -type f -perm /6000 -exec chmod a-s {} +
COPY --from=build /opt/loomwright /opt/loomwright
COPY deploy/gunicorn.conf.py /etc/loomwright/gunicorn.conf.py

FROM scratch
ARG VERSION=0.1.0
ARG REVISION=unknown
LABEL org.opencontainers.image.title="Loomwright" \
      org.opencontainers.image.description="Engineering and pricing of vehicle 12/24/48 V installations, as a stateless REST service" \
      org.opencontainers.image.licenses="MIT" \
      org.opencontainers.image.version="${VERSION}" \
      org.opencontainers.image.revision="${REVISION}"
# All of it, as one layer is what this stage is for.
# hadolint ignore=DL3067
COPY --from=root / /
USER 10001:10001
# Others can reach it there, so it starts only with keys or with LOOMWRIGHT_ACCESS=open (deploy/README.md).
ENV PATH=/opt/loomwright/bin:/usr/local/bin:/usr/bin:/bin \
    LANG=C.UTF-8 \
    LOOMWRIGHT_BIND=0.0.0.0:8080 \
    NUMBA_CACHE_LOCATOR_CLASSES=kept_machine_code.KeptMachineCode \
    NUMBA_CPU_NAME=generic \
    PYTHONDONTWRITEBYTECODE=1 \
    PYTHONUNBUFFERED=1
WORKDIR /
EXPOSE 8080
# Requests under way have 30 s to end.
STOPSIGNAL SIGTERM
HEALTHCHECK --interval=10s --timeout=3s --start-period=20s CMD ["/opt/loomwright/bin/python", "-c", \
    "import http.client as h; c = h.HTTPConnection('127.0.0.1', 8080, timeout=2); c.request('GET', '/v1/live'); raise SystemExit(c.getresponse().status != 200)"]
# Workers say in memory that they live, so that no file system has to be writable.
CMD ["/opt/loomwright/bin/python", "-m", "gunicorn", "--config", "/etc/loomwright/gunicorn.conf.py", \
    "--worker-tmp-dir", "/dev/shm"]
