"""The deployment on Kubernetes: valid by published schemas, restricted, and as the service is."""

import re
import tomllib
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml
from gunicorn.config import GracefulTimeout
from kustomized import Document, documents_of, named

from loomwright.web.app import create_app
from loomwright.web.settings_table import PREFIX, SETTINGS, settings_from

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "deploy" / "kubernetes"
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
BUILDS = {name: documents_of(FOLDER / name) for name in ("base", "overlays/example")}
SECRET_FILE = FOLDER / "overlays/example/secret.example.yaml"
EXAMPLE_SECRET = yaml.safe_load(SECRET_FILE.read_text("utf-8"))
EVERY = [
    *(
        pytest.param(each, id=f"{build}-{each['kind']}")
        for build, documents in BUILDS.items()
        for each in documents
    ),
    pytest.param(EXAMPLE_SECRET, id="secret"),
]
KINDS = {
    "ConfigMap",
    "Deployment",
    "HorizontalPodAutoscaler",
    "NetworkPolicy",
    "PodDisruptionBudget",
    "Service",
    "ServiceAccount",
}
# The oldest one that the README names, and the newest one that the schemas know.
RELEASES = ["1.27", kubernetes_validate.latest_version()]
builds = pytest.mark.parametrize("documents", BUILDS.values(), ids=BUILDS)


@pytest.mark.parametrize("release", RELEASES)
@pytest.mark.parametrize("document", EVERY)
def test_each_document_is_valid_by_the_published_schema(document: Document, release: str) -> None:
    checked = kubernetes_validate.validate(document, release, strict=True)
    assert checked == ".".join(release.split(".")[:2])


def test_the_check_is_strict() -> None:
    document = deployment(documents_of(FOLDER / "base"))
    document["spec"]["template"]["spec"]["enableServiceLink"] = False
    with pytest.raises(kubernetes_validate.ValidationError, match="enableServiceLink"):
        kubernetes_validate.validate(document, "1.27", strict=True)


def test_each_file_is_used() -> None:
    used = {SECRET_FILE}
    for name in BUILDS:
        file = FOLDER / name / "kustomization.yaml"
        kustomization = yaml.safe_load(file.read_text("utf-8"))
        places = [
            *kustomization["resources"],
            *(p["path"] for p in kustomization.get("patches", [])),
        ]
        used |= {file, *(FOLDER / name / place for place in places)}
    assert set(FOLDER.rglob("*.yaml")) <= used


def deployment(documents: list[Document]) -> Document:
    return named(documents, "Deployment", "loomwright")


def pod(documents: list[Document]) -> Document:
    found: Document = deployment(documents)["spec"]["template"]["spec"]
    return found


def container(documents: list[Document]) -> Document:
    found: Document
    (found,) = pod(documents)["containers"]
    return found


@builds
def test_everything_belongs_together(documents: list[Document]) -> None:
    assert {each["kind"] for each in documents} >= KINDS
    labels = deployment(documents)["spec"]["template"]["metadata"]["labels"]
    selectors = [
        deployment(documents)["spec"]["selector"]["matchLabels"],
        named(documents, "Service", "loomwright")["spec"]["selector"],
        named(documents, "PodDisruptionBudget", "loomwright")["spec"]["selector"]["matchLabels"],
        named(documents, "NetworkPolicy", "loomwright")["spec"]["podSelector"]["matchLabels"],
        *(
            each["labelSelector"]["matchLabels"]
            for each in pod(documents)["topologySpreadConstraints"]
        ),
    ]
    assert all(selector == labels for selector in selectors)
    scaled = named(documents, "HorizontalPodAutoscaler", "loomwright")["spec"]
    target = deployment(documents)
    assert scaled["scaleTargetRef"] == {
        "apiVersion": target["apiVersion"],
        "kind": target["kind"],
        "name": target["metadata"]["name"],
    }
    # Otherwise each roll-out would undo what the autoscaler did.
    assert "replicas" not in target["spec"]
    # One may go, and another one still serves.
    assert scaled["minReplicas"] >= 2
    named(documents, "ServiceAccount", pod(documents)["serviceAccountName"])
    (source,) = container(documents)["envFrom"]
    named(documents, "ConfigMap", source["configMapRef"]["name"])
    mounted = {each["name"] for each in container(documents)["volumeMounts"]}
    assert mounted == {each["name"] for each in pod(documents)["volumes"]}


@builds
def test_each_setting_is_one_of_the_service(documents: list[Document], tmp_path: Path) -> None:
    stated = named(documents, "ConfigMap", "loomwright-settings")["data"]
    assert set(stated) <= {setting.name for setting in SETTINGS}
    assert all(isinstance(value, str) for value in stated.values())
    # The image's own address, and a file of keys where the Secret is mounted.
    (place,) = (
        each["mountPath"] for each in container(documents)["volumeMounts"] if each["name"] == "keys"
    )
    keys = Path(stated[f"{PREFIX}KEYS_FILE"])
    assert keys == Path(place) / next(iter(EXAMPLE_SECRET["stringData"]))
    file = tmp_path / keys.name
    file.write_text(f'[[keys]]\nid = "a"\nsha256 = "{"0" * 64}"\nscopes = ["calculate"]\n', "utf-8")
    there = {f"{PREFIX}BIND": "0.0.0.0:8080", f"{PREFIX}KEYS_FILE": str(file)}
    settings = settings_from(stated | there)
    assert settings.needs_keys
    # The variables of a Service called loomwright would stop the start.
    assert pod(documents)["enableServiceLinks"] is False
    # Probes are answered while a batch streams.
    assert settings.threads > 1


def test_the_example_secret_holds_nothing() -> None:
    assert set(EXAMPLE_SECRET["stringData"].values()) == {""}
    (volume,) = (each for each in pod(BUILDS["base"])["volumes"] if "secret" in each)
    assert volume["secret"]["secretName"] == EXAMPLE_SECRET["metadata"]["name"]


@builds
def test_the_probes_ask_what_the_service_answers(documents: list[Document]) -> None:
    assert container(documents)["ports"] == [
        {"name": "http", "containerPort": 8080},
        {"name": "metrics", "containerPort": 9464},
    ]
    client = create_app().test_client()
    # A restart helps neither a start that lasts nor a file that is at fault.
    wanted = {"startupProbe": "live", "readinessProbe": "ready", "livenessProbe": "live"}
    for name, status in wanted.items():
        asked = container(documents)[name]["httpGet"]
        assert asked["port"] == "http"
        assert client.get(asked["path"]).get_json()["status"] == status
    (port,) = named(documents, "Service", "loomwright")["spec"]["ports"]
    assert port["targetPort"] == "http"


@builds
def test_metrics_are_scraped_where_they_are_served(documents: list[Document]) -> None:
    stated = named(documents, "ConfigMap", "loomwright-settings")["data"]
    port = stated[f"{PREFIX}METRICS_BIND"].rpartition(":")[2]
    (bound,) = (each for each in container(documents)["ports"] if each["name"] == "metrics")
    assert str(bound["containerPort"]) == port
    annotations = deployment(documents)["spec"]["template"]["metadata"]["annotations"]
    assert annotations == {
        "prometheus.io/scrape": "true",
        "prometheus.io/port": port,
        "prometheus.io/path": "/metrics",
    }
    # The Service leads nobody there.
    (offered,) = named(documents, "Service", "loomwright")["spec"]["ports"]
    assert offered["targetPort"] == "http"


@builds
def test_requests_under_way_have_their_time_to_end(documents: list[Document]) -> None:
    assert "graceful_timeout" not in (ROOT / "deploy" / "gunicorn.conf.py").read_text("utf-8")
    command = container(documents)["lifecycle"]["preStop"]["exec"]["command"]
    assert command[:1] == ["/bin/sleep"]
    least_s = int(command[1]) + GracefulTimeout.default
    assert pod(documents)["terminationGracePeriodSeconds"] >= least_s + 5
    assert deployment(documents)["spec"]["strategy"]["rollingUpdate"]["maxUnavailable"] == 0


@builds
def test_images_are_pinned(documents: list[Document]) -> None:
    image = container(documents)["image"]
    assert re.fullmatch(rf"[a-z0-9./-]+:{re.escape(VERSION)}", image)


@builds
def test_the_network_is_closed_but_for_what_is_named(documents: list[Document]) -> None:
    policy = named(documents, "NetworkPolicy", "loomwright")["spec"]
    assert policy["policyTypes"] == ["Ingress", "Egress"]
    way_in, scrapes = policy["ingress"]
    assert way_in["ports"] == [{"protocol": "TCP", "port": 8080}]
    assert way_in["from"]
    assert scrapes["ports"] == [{"protocol": "TCP", "port": 9464}]
    (scraper,) = scrapes["from"]
    assert scraper["namespaceSelector"]["matchLabels"] == {
        "kubernetes.io/metadata.name": "monitoring"
    }
    ways_out = {
        port["port"]: way["to"][0]["podSelector"]["matchLabels"]
        for way in policy["egress"]
        for port in way["ports"]
    }
    assert ways_out == {53: {"k8s-app": "kube-dns"}, 6379: {"app.kubernetes.io/name": "redis"}}
    assert all(len(way["to"]) == 1 for way in policy["egress"])


def absent(place: Document, *names: str) -> bool:
    return not any(place.get(name) for name in names)


@builds
def test_pods_are_within_the_restricted_profile(documents: list[Document]) -> None:
    """Go through the checklist of the profile, with that of baseline, which it contains.

    Source: Kubernetes documentation, "Pod Security Standards", profiles Baseline and Restricted.
    Pods of Linux without init and ephemeral containers.
    """
    spec, one = pod(documents), container(documents)
    assert absent(spec, "initContainers", "ephemeralContainers")
    of_pod: dict[str, Any] = spec["securityContext"]
    of_container: dict[str, Any] = one["securityContext"]
    for place in (of_pod, of_container):
        # HostProcess, AppArmor, SELinux, /proc mount type, sysctls: as the runtime has them.
        assert absent(place, "windowsOptions", "appArmorProfile", "seLinuxOptions", "procMount")
        assert absent(place, "sysctls")
    annotations = deployment(documents)["spec"]["template"]["metadata"].get("annotations", {})
    assert not any("apparmor" in name for name in annotations)
    # Host namespaces, privileged containers, host ports, and hosts of probes and hooks.
    assert absent(spec, "hostNetwork", "hostPID", "hostIPC")
    assert absent(of_container, "privileged")
    assert all(absent(port, "hostPort", "hostIP") for port in one["ports"])
    for name in ("startupProbe", "readinessProbe", "livenessProbe"):
        assert "host" not in one[name]["httpGet"]
    assert set(one["lifecycle"]) == {"preStop"}
    assert set(one["lifecycle"]["preStop"]) == {"exec"}
    # Volume types.
    allowed = {"configMap", "csi", "downwardAPI", "emptyDir", "ephemeral"}
    allowed |= {"persistentVolumeClaim", "projected", "secret"}
    for volume in spec["volumes"]:
        assert set(volume) - {"name"} <= allowed
    # Privilege escalation, running as non-root, seccomp, capabilities.
    assert of_container["allowPrivilegeEscalation"] is False
    assert of_pod["runAsNonRoot"] is True
    assert of_container.get("runAsNonRoot", True) is True
    assert of_pod["runAsUser"] != 0
    assert of_container.get("runAsUser", 1) != 0
    assert of_pod["seccompProfile"] == {"type": "RuntimeDefault"}
    assert "seccompProfile" not in of_container
    assert of_container["capabilities"] == {"drop": ["ALL"]}
    # Beyond the profile.
    assert of_container["readOnlyRootFilesystem"] is True
    assert spec["automountServiceAccountToken"] is False
    assert one["resources"]["requests"].keys() == {"cpu", "memory"}
    assert "memory" in one["resources"]["limits"]
    # The user of the image.
    assert f"USER {of_pod['runAsUser']}:{of_pod['runAsGroup']}\n" in (
        ROOT / "Dockerfile"
    ).read_text("utf-8")


def test_the_namespace_of_the_example_enforces_it() -> None:
    labels = named(BUILDS["overlays/example"], "Namespace", "loomwright")["metadata"]["labels"]
    assert labels["pod-security.kubernetes.io/enforce"] == "restricted"
