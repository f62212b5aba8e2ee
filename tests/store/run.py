"""Prove object storage: the sample batch from and to a real S3 service of this machine.

    python3 tests/store/run.py [--environments DIR] [--keep]

Makes two environments (the locked one with the storage plugin, one with a server from the package
registry; kept for the next time in DIR, if given), starts the server, and goes through `fetch`, the
night and `send` and through what can go wrong. The last result stands in tests/store/README.md.
"""

from __future__ import annotations

import argparse
import fcntl
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import venv
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(PROJECT / "tests"), str(PROJECT / "scripts")]

from makers.studio import Outcome, Studio  # noqa: E402
from setup_environment import install_lock  # noqa: E402

BATCH = "harbour-2026-03"
SAMPLE = PROJECT / "sample_masters" / BATCH
SERVER = "moto[server]==5.2.5"
MASTERS, DELIVERIES = "studio-masters", "studio-deliveries"
SECRET = "trial-secret-b7a1f0"
NIGHT = ("--config", 'delivery={"form": "tar"}')


def environment(folder: Path, packages: list[str] | Path) -> Path:
    """Return the `bin` of an environment that holds the packages (or a lock), made where missing."""
    mark = folder / ".complete"
    if not mark.exists():
        venv.create(folder, with_pip=True, clear=True)
        python = folder / "bin" / "python"
        if isinstance(packages, Path):
            install_lock(python, packages)
        else:
            pip = [python, "-m", "pip", "install", "-q", "--disable-pip-version-check"]
            subprocess.run([*pip, *packages], check=True)
        mark.touch()
    return folder / "bin"


def free_port() -> int:
    with socket.socket() as opened:
        opened.bind(("127.0.0.1", 0))
        return int(opened.getsockname()[1])


@contextmanager
def server(bin_dir: Path, log: Path) -> Iterator[str]:
    """Run the server; yield its address when it answers."""
    port = free_port()
    url = f"http://127.0.0.1:{port}"
    with log.open("wb") as told:
        command = [bin_dir / "moto_server", "-H", "127.0.0.1", "-p", str(port)]
        process = subprocess.Popen(command, stdout=told, stderr=told)
    try:
        for _ in range(300):
            try:
                urllib.request.urlopen(url, timeout=5).close()
                break
            except OSError:
                time.sleep(0.2)
        yield url
    finally:
        process.terminate()
        process.wait(30)


class Objects:
    """The service as someone beside this software sees it, by the plugin's own client library."""

    def __init__(self, url: str) -> None:
        import boto3

        self.url = url
        self.client = boto3.client(
            "s3",
            endpoint_url=url,
            region_name="us-east-1",
            aws_access_key_id="beside",
            aws_secret_access_key="beside",
        )

    def put(self, bucket: str, key: str, content: bytes) -> None:
        self.client.put_object(Bucket=bucket, Key=key, Body=content)

    def get(self, bucket: str, key: str) -> bytes:
        content: bytes = self.client.get_object(Bucket=bucket, Key=key)["Body"].read()
        return content

    def delete(self, bucket: str, key: str) -> None:
        self.client.delete_object(Bucket=bucket, Key=key)

    def listed(self, bucket: str) -> dict[str, str]:
        """Return {key: when it was written}."""
        found = self.client.list_objects_v2(Bucket=bucket).get("Contents", [])
        return {entry["Key"]: f"{entry['LastModified']} {entry['ETag']}" for entry in found}


class Stored(Studio):
    """A studio whose masters and deliveries are in the storage."""

    def __init__(self, root: Path, url: str, masters: str = MASTERS) -> None:
        super().__init__(root)
        self.addresses = {
            "fetch": ("masters", masters),
            "send": ("deliveries", f"{DELIVERIES}/film"),
        }
        self.url = url
        self.texts: list[str] = []

    def environment(self) -> dict[str, str]:
        keys = {"AWS_ACCESS_KEY_ID": "studio", "AWS_SECRET_ACCESS_KEY": SECRET}
        return super().environment() | keys | {"NO_PROXY": "127.0.0.1", "no_proxy": "127.0.0.1"}

    def settings(self, *targets: str) -> list[str]:
        """Return the settings of the targets, each of which does without the other's."""
        told = {key: f"s3://{place}" for key, place in map(self.addresses.__getitem__, targets)}
        store = json.dumps(told | {"endpoint_url": self.url})
        return ["--config", f"batches=[{BATCH}]", f"store={store}"]

    def move(self, target: str) -> Outcome:
        outcome = self.night(target, *self.settings(target))
        self.texts.append(outcome.text)
        return outcome

    def folder(self) -> Path:
        return self.masters / BATCH


def require(holds: bool, told: str, outcome: Outcome | None = None) -> None:
    if not holds:
        raise SystemExit(f"FAILED: {told}\n{outcome.text[-4000:] if outcome else ''}")


def done(outcome: Outcome, told: str) -> None:
    require(outcome.code == 0, f"{told} ended with {outcome.code}", outcome)


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def plain(studio: Studio) -> dict[str, str]:
    """Return the digests of results and deliveries, without what is remembered of the storage."""
    own = f"{BATCH}/store/"
    return {
        f"{part}/{name}": digest
        for part in ("results", "deliveries")
        for name, digest in studio.digests(part).items()
        if not name.startswith(own)
    }


def three_commands(studio: Stored, local: Studio, objects: Objects) -> str:
    start = time.monotonic()
    done(studio.move("fetch"), "fetch")
    fetched = time.monotonic() - start
    require(
        contents(studio.folder()) == contents(SAMPLE), "the masters are not those of the sample"
    )
    shutil.copytree(studio.folder(), local.masters / BATCH, copy_function=shutil.copy2)
    for place in (studio, local):
        done(place.night(*NIGHT), "the night")
    one, other = plain(studio), plain(local)
    parted = sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))
    require(not parted, f"{len(parted)} files differ from the local run: {parted[:8]}")
    start = time.monotonic()
    done(studio.move("send"), "send")
    sent = time.monotonic() - start
    folder = studio.root / "deliveries"
    files = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    stored = [key.removeprefix(f"film/{BATCH}/") for key in objects.listed(DELIVERIES)]
    wanted = sorted([*files, *(f"{name}.sha256" for name in files)])
    require(sorted(stored) == wanted, f"{stored} is in the storage, not {wanted}")
    for name, content in files.items():
        there = objects.get(DELIVERIES, f"film/{BATCH}/{name}")
        require(there == content, f"{name} is another in the storage")
    return (
        f"fetch {fetched:.0f} s, send {sent:.0f} s; {len(one)} files of results and deliveries equal "
        f"to a local run, {len(files)} objects equal to their files"
    )


def nothing_twice(studio: Stored, objects: Objects) -> str:
    before = objects.listed(DELIVERIES), studio.masters_state()
    for target in ("fetch", "send"):
        outcome = studio.move(target)
        done(outcome, f"{target} again")
        jobs = {rule for rule, _ in outcome.jobs}
        require(jobs == {f"{target}_list", target}, f"{target} again did {jobs}", outcome)
    require(before == (objects.listed(DELIVERIES), studio.masters_state()), "something was renewed")
    return "fetch and send again move nothing"


def wrong_digest(studio: Stored, objects: Objects) -> str:
    key = f"{BATCH}/PEH-0001.tif"
    right = objects.get(MASTERS, key)
    objects.put(MASTERS, key, right[:-1] + bytes([right[-1] ^ 1]))
    (studio.folder() / "PEH-0001.tif").unlink()
    (studio.folder() / "PEH-0002.tif").unlink()
    outcome = studio.move("fetch")
    require(outcome.code == 1, f"a wrong digest ended with {outcome.code}", outcome)
    require("[fetch.digest]" in outcome.text, "the wrong digest is not told", outcome)
    require("Traceback" not in outcome.text, "a traceback is shown", outcome)
    here = contents(studio.folder())
    require("PEH-0001.tif" not in here and "PEH-0002.tif" in here, "what is here is not right")
    objects.put(MASTERS, key, right)
    done(studio.move("fetch"), "fetch of the mended master")
    require(contents(studio.folder()) == contents(SAMPLE), "the mended master is not here")
    return "a master with one flipped bit is refused and told, the others come"


def other_object(studio: Stored, objects: Objects) -> str:
    key = f"film/{BATCH}/{BATCH}.tar"
    right, digest = objects.get(DELIVERIES, key), objects.get(DELIVERIES, f"{key}.sha256")
    objects.delete(DELIVERIES, f"{key}.sha256")
    done(studio.move("send"), "send where the digest is missing")
    require(objects.get(DELIVERIES, f"{key}.sha256") == digest, "the digest is not there again")
    objects.delete(DELIVERIES, f"{key}.sha256")
    objects.put(DELIVERIES, key, right[:-1] + b"x")
    outcome = studio.move("send")
    require(outcome.code == 1 and "[send.differs]" in outcome.text, "it is not refused", outcome)
    require(objects.get(DELIVERIES, key) == right[:-1] + b"x", "the other object was touched")
    objects.put(DELIVERIES, f"{key}.sha256", b"0" * 64 + digest[64:])
    outcome = studio.move("send")
    require(outcome.code == 1 and "[send.differs]" in outcome.text, "it is not refused", outcome)
    require(objects.get(DELIVERIES, key) == right[:-1] + b"x", "the other object was touched")
    for name in (key, f"{key}.sha256"):
        objects.delete(DELIVERIES, name)
    done(studio.move("send"), "send after the other object was moved away")
    require(objects.get(DELIVERIES, key) == right, "the delivery is not there")
    return "another object of a name is refused and stays; one without a digest is read back"


def killed(studio: Stored, objects: Objects) -> str:
    for key in objects.listed(DELIVERIES):
        objects.delete(DELIVERIES, key)
    run = subprocess.Popen(
        studio.command("send", *studio.settings("send")),
        env=studio.environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    for line in run.stdout or []:
        if "Finished upload" in line:
            os.killpg(run.pid, signal.SIGKILL)
            break
    run.wait()
    half = len(objects.listed(DELIVERIES))
    require(0 < half < 8, f"the kill left {half} objects of 8")
    outcome = studio.move("send")
    done(outcome, "send after a kill")
    folder = studio.root / "deliveries"
    for path in folder.iterdir():
        if path.is_file():
            there = objects.get(DELIVERIES, f"film/{BATCH}/{path.name}")
            require(there == path.read_bytes(), f"{path.name} is another in the storage")
    return f"send killed with {half} of 8 objects there; the next one completes it"


def audited(studio: Stored, objects: Objects) -> str:
    """Return that a changed, a shorter and a missing object are told as damage."""
    settings = studio.root / "audit.json"
    told = {"deliveries": f"s3://{DELIVERIES}/film", "endpoint_url": studio.url}
    settings.write_text(
        json.dumps({"masters": str(studio.masters), "store": told, "delivery": {"form": "tar"}})
    )
    command = [sys.executable, "-m", "glassine.night.audits", "--all"]
    command += ["--directory", str(studio.root), "--configfile", str(settings)]
    path = {"PYTHONPATH": str(PROJECT / "scripts")}

    def audit(code: int, words: str) -> None:
        done = subprocess.run(
            command, env=studio.environment() | path, check=False, capture_output=True, text=True
        )
        studio.texts.append(done.stdout + done.stderr)
        told = done.returncode == code and words in done.stdout
        require(told, f"the audit ended with {done.returncode}:\n{done.stdout[-2000:]}")

    key = f"film/{BATCH}/{BATCH}.tar"
    right = objects.get(DELIVERIES, key)
    audit(0, "in object storage: 4 parts")
    objects.put(DELIVERIES, key, right[:-1] + b"x")
    audit(1, "Its bytes are not those that were sent")
    objects.put(DELIVERIES, key, b"short")
    audit(1, "The object has 5 bytes")
    objects.delete(DELIVERIES, key)
    audit(1, "The storage has no such object")
    objects.put(DELIVERIES, key, right)
    audit(0, "nothing damaged")
    told["endpoint_url"] = f"http://127.0.0.1:{free_port()}"
    settings.write_text(
        json.dumps({"masters": str(studio.masters), "store": told, "delivery": {"form": "tar"}})
    )
    audit(69, "COULD NOT BE READ: 4 parts")
    return (
        "the audit tells a changed, a shorter and a missing object as damage, silence as not read"
    )


def refusals(studio: Stored, objects: Objects) -> str:
    """Return that wrong settings, a run going on and a service that is off end honestly."""
    outcome = studio.night("send")
    require(outcome.code == 78 and "[run.store]" in outcome.text, "off is not told", outcome)
    with (studio.root / "results" / ".run.lock").open("r+") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        outcome = studio.move("fetch")
    require(outcome.code == 75, f"a second run ended with {outcome.code}", outcome)
    nowhere = Stored(studio.root / "nowhere", f"http://127.0.0.1:{free_port()}")
    outcome = nowhere.move("fetch")
    require(outcome.code == 69, f"a service that is off ended with {outcome.code}", outcome)
    require("[run.store_unavailable]" in outcome.text, "it is not told", outcome)
    require("Traceback" not in outcome.text, "a traceback is shown", outcome)
    wrong = Stored(studio.root / "wrong", objects.url, masters="studio-msaters")
    outcome = wrong.move("fetch")
    require(outcome.code == 69, f"a bucket that is not ended with {outcome.code}", outcome)
    require("no such bucket" in outcome.text, "it is not told", outcome)
    buckets = [each["Name"] for each in objects.client.list_buckets()["Buckets"]]
    require(sorted(buckets) == sorted([MASTERS, DELIVERIES]), f"there are {buckets}")
    studio.texts += nowhere.texts + wrong.texts
    return "codes 78 (no address), 75 (a run goes on), 69 (the service is off, no such bucket)"


def no_secret(studio: Stored, objects: Objects) -> str:
    known = SECRET.encode()
    files = [path for path in studio.root.rglob("*") if path.is_file() and not path.is_symlink()]
    found = [path for path in files if known in path.read_bytes()]
    require(not found, f"the secret stands in {found}")
    require(not any(SECRET in text for text in studio.texts), "the secret was printed")
    return f"the secret key is in none of {len(files)} files and {len(studio.texts)} outputs"


def linted(studio: Stored, objects: Objects) -> str:
    targets = ("fetch", "send")
    outcome = studio.night(*targets, "--lint", *studio.settings(*targets))
    require("rule fetch_master" in outcome.text, "the linter did not see the rules", outcome)
    titles = {line.strip() for line in outcome.text.splitlines() if line.startswith("    * ")}
    allowed = {"* Specify a conda environment or container for each rule.:"}
    require(titles <= allowed, f"the linter finds {titles - allowed}", outcome)
    return "the rules are clean to the engine's linter"


def scenes(root: Path, url: str) -> None:
    objects = Objects(url)
    for bucket in (MASTERS, DELIVERIES):
        objects.client.create_bucket(Bucket=bucket)
    for name, content in contents(SAMPLE).items():
        objects.put(MASTERS, f"{BATCH}/{name}", content)
    studio = Stored(root / "stored", url)
    print(three_commands(studio, Studio(root / "local"), objects), flush=True)
    each: list[Callable[[Stored, Objects], str]] = [
        nothing_twice,
        wrong_digest,
        other_object,
        killed,
        audited,
        refusals,
        no_secret,
        linted,
    ]
    for scene in each:
        print(scene(studio, objects), flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--environments", type=Path, help="folder to keep the environments in")
    parser.add_argument("--keep", action="store_true", help="keep the working folders")
    arguments = parser.parse_args()
    root = Path(tempfile.mkdtemp(prefix="glassine-store-"))
    try:
        kept = (arguments.environments or root).absolute()
        run = environment(kept / "run", PROJECT / "requirements-store.lock")
        if Path(sys.prefix) != run.parent:
            # Once more, with the Python of the environment that has the plugin.
            again = [run / "python", *sys.argv, "--environments", str(kept)]
            return subprocess.run(again, check=False).returncode
        with server(environment(kept / "server", [SERVER]), root / "server.log") as url:
            scenes(root, url)
    finally:
        if arguments.keep:
            print(root)
        else:
            shutil.rmtree(root, ignore_errors=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
