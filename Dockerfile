# The environment is made in one stage and copied to a second that has no build tools.
FROM python:3.11-slim AS build
WORKDIR /build
RUN python -m venv /opt/loomwright
COPY deploy/build.lock deploy/requirements.lock deploy/
RUN /opt/loomwright/bin/pip install --no-cache-dir --no-deps --require-hashes \
        --only-binary :all: -r deploy/build.lock -r deploy/requirements.lock
COPY pyproject.toml setup.py README.md LICENSE ./
COPY openapi openapi
COPY service service
RUN /opt/loomwright/bin/pip install --no-deps --no-build-isolation --no-index . \
    && /opt/loomwright/bin/pip uninstall --yes setuptools pip

FROM python:3.11-slim
RUN useradd --system --uid 10001 --no-create-home --shell /usr/sbin/nologin loomwright
COPY --from=build /opt/loomwright /opt/loomwright
COPY deploy/gunicorn.conf.py /etc/loomwright/gunicorn.conf.py
USER 10001
# Others can reach it there, so it starts only with keys or with LOOMWRIGHT_ACCESS=open (deploy/README.md).
ENV LOOMWRIGHT_BIND=0.0.0.0:8080 PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
EXPOSE 8080
HEALTHCHECK --interval=10s --timeout=3s --start-period=10s CMD ["/opt/loomwright/bin/python", "-c", \
    "import urllib.request as r; r.urlopen('http://127.0.0.1:8080/v1/health', timeout=2)"]
CMD ["/opt/loomwright/bin/python", "-m", "gunicorn", "--config", "/etc/loomwright/gunicorn.conf.py"]
