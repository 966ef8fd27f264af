"""A Slurm cluster of this machine alone, for one test: own munge key, own sockets, free ports."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time

CONFIGURATION = """
ClusterName=test
SlurmctldHost={host}(127.0.0.1)
SlurmctldPort={controller_port}
SlurmdPort={node_port}
AuthType=auth/munge
# Slurm holds a re-queued job back for as long as a credential lives: not two minutes, but the least.
AuthInfo=socket={folder}/munge.socket,cred_expire=5
CredType=cred/munge
SlurmUser=root
SlurmdUser=root
StateSaveLocation={folder}/controller
SlurmdSpoolDir={folder}/node
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
SwitchType=switch/none
MpiDefault=none
MailProg=/bin/true
KillWait=5
SlurmdParameters=config_overrides
SchedulerParameters=batch_sched_delay=0,sched_interval=1,sched_min_interval=0
NodeName={host} NodeAddr=127.0.0.1 CPUs={processors} State=UNKNOWN
PartitionName=all Nodes={host} Default=YES MaxTime=INFINITE State=UP
"""
TOOLS = ("munged", "slurmctld", "slurmd", "sbatch", "squeue", "scancel", "scontrol", "sinfo")


def why_not():
    """Why no cluster can be started here, or None."""
    if os.geteuid() != 0:
        return "the daemons of Slurm need root"
    missing = [tool for tool in TOOLS if not shutil.which(tool, path=search_path())]
    return f"not installed: {', '.join(missing)}" if missing else None


def search_path():
    return os.environ["PATH"] + ":/usr/sbin:/sbin"


def wait_until(what, true, seconds=60, pause=0.05):
    """Returns what `true` returns, once it is not false."""
    end = time.monotonic() + seconds
    while True:
        value = true()
        if value:
            return value
        if time.monotonic() > end:
            raise AssertionError(f"waited {seconds} s in vain: {what}")
        time.sleep(pause)


def free_ports(count):
    sockets = [socket.socket() for _ in range(count)]
    for one in sockets:
        one.bind(("127.0.0.1", 0))
    ports = [one.getsockname()[1] for one in sockets]
    for one in sockets:
        one.close()
    return ports


class OneNode:
    def __init__(self, processors):
        self.processors = processors
        self.folder = tempfile.mkdtemp(prefix="one_node_")
        self.configuration = os.path.join(self.folder, "slurm.conf")
        # No setting of a cluster that this machine may belong to.
        self.environment = {name: value for name, value in os.environ.items()
                            if not name.startswith(("SLURM", "SBATCH", "SQUEUE", "SINFO"))}
        self.environment.update(PATH=search_path(), SLURM_CONF=self.configuration)
        self.daemons = []

    def __enter__(self):
        try:
            self.start()
        except BaseException:
            self.print_logs()
            self.stop()
            raise
        return self

    def __exit__(self, kind, *_):
        if kind:
            self.print_logs()
        left = self.stop()
        assert kind or not left, f"still running at the end: {left}"

    def start(self):
        key = os.path.join(self.folder, "munge.key")
        with open(os.open(key, os.O_WRONLY | os.O_CREAT, 0o400), "wb") as file:
            file.write(os.urandom(1024))
        for name in ("controller", "node"):
            os.mkdir(os.path.join(self.folder, name))
        files = [f"--{option}-file={self.folder}/munge.{option}" for option in ("pid", "log", "seed")]
        self.start_daemon("munged", "--foreground", "--force", f"--key-file={key}",
                          f"--socket={self.folder}/munge.socket", *files)
        wait_until("munged answers", lambda: os.path.exists(f"{self.folder}/munge.socket"))
        for _ in range(4):
            if self.start_slurm():
                return
            self.stop_daemons(keep=1)
        raise AssertionError("Slurm does not start")

    def start_slurm(self):
        """False if a daemon gave up, as when another process took a port meanwhile."""
        ports = free_ports(2)
        with open(self.configuration, "w", encoding="utf-8") as file:
            file.write(CONFIGURATION.format(
                host=socket.gethostname().split(".")[0], folder=self.folder,
                controller_port=ports[0], node_port=ports[1], processors=self.processors))
        for name in ("slurmctld", "slurmd"):
            self.start_daemon(name, "-D")
        wait_until("the node is idle", lambda: self.gave_up() or "idle" in self.ask(
            "sinfo", "--noheader", "--format=%T"))
        return not self.gave_up()

    def start_daemon(self, name, *arguments):
        # It ends with this process, even if this one is killed.
        command = ["setpriv", "--pdeathsig", "KILL", name, *arguments]
        with open(os.path.join(self.folder, f"{name}.out"), "ab") as log:
            self.daemons.append(subprocess.Popen(
                command, env=self.environment, cwd=self.folder, stdin=subprocess.DEVNULL,
                stdout=log, stderr=log))

    def gave_up(self):
        return any(daemon.poll() is not None for daemon in self.daemons)

    def ask(self, *command):
        """What the command prints; nothing if it fails."""
        done = subprocess.run(command, env=self.environment, text=True, timeout=60, check=False,
                              stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        return done.stdout if done.returncode == 0 else ""

    def run(self, *command, status=0):
        """What the command prints, errors too; its exit status must be this one."""
        done = subprocess.run(command, env=self.environment, text=True, timeout=120, check=False,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        assert done.returncode == status, (command, done.returncode, done.stdout)
        return done.stdout

    def processes(self):
        """Numbers and commands of all processes of this cluster, jobs among them."""
        found = {}
        mark = f"SLURM_CONF={self.configuration}".encode()
        for number in filter(str.isdigit, os.listdir("/proc")):
            try:
                with open(f"/proc/{number}/environ", "rb") as file:
                    if mark not in file.read().split(b"\0"):
                        continue
                with open(f"/proc/{number}/cmdline", "rb") as file:
                    found[int(number)] = file.read().decode().rstrip("\0").split("\0")
            except OSError:
                pass  # it has ended meanwhile
        return {number: words for number, words in found.items() if words != [""]}

    def stop(self):
        """Stops everything; returns what had to be killed for it."""
        if len(self.daemons) == 3 and not self.gave_up():
            self.ask("scancel", "--state=PENDING", "--user=root")
            self.ask("scancel", "--user=root")
            try:
                wait_until("no job is left", lambda: self.ask(
                    "squeue", "--noheader", "--format=. %i") == "", 15)
            except AssertionError as problem:
                print(problem)
        self.stop_daemons(keep=0)
        left = self.processes()
        for number in left:
            try:
                os.kill(number, signal.SIGKILL)
            except ProcessLookupError:
                pass
        shutil.rmtree(self.folder, ignore_errors=True)
        return left

    def stop_daemons(self, keep):
        for daemon in reversed(self.daemons[keep:]):
            daemon.terminate()
            try:
                daemon.wait(10)
            except subprocess.TimeoutExpired:
                daemon.kill()
                daemon.wait()
        del self.daemons[keep:]

    def print_logs(self):
        for name in ("munged", "slurmctld", "slurmd"):
            path = os.path.join(self.folder, f"{name}.out")
            if os.path.exists(path):
                with open(path, encoding="utf-8", errors="replace") as file:
                    print(f"--- {name}", *file.read().splitlines()[-30:], sep="\n")
        print("--- squeue", self.ask("squeue", "--array"), sep="\n")
