#!/usr/bin/env bash
# Start Slurm on this machine alone: one controller, two nodes, no accounting, no system services.
# usage: slurm_up.sh DIR     everything (key, sockets, state, logs) lives in DIR
# Needs Debian's slurm-wlm and munge. Afterwards put DIR/bin first on PATH.
set -euo pipefail
dir=$(realpath -m "$1")
host=$(hostname -s)
cpus=$(nproc)
memory=$(($(awk '/MemTotal/{print $2}' /proc/meminfo) / 1024 - 512))

mkdir -p "$dir"/{munge,state,spool/n1,spool/n2,log,bin}
chmod 0755 "$dir"
chmod 0700 "$dir/munge"
if [ ! -f "$dir/munge/key" ]; then
  (umask 077 && dd if=/dev/urandom bs=32 count=1 of="$dir/munge/key" status=none)
fi
/usr/sbin/munged --force --key-file="$dir/munge/key" --socket="$dir/munged.sock" \
  --pid-file="$dir/munge/munged.pid" --log-file="$dir/munge/munged.log" \
  --seed-file="$dir/munge/seed" --num-threads=2

cat > "$dir/slurm.conf" <<CONF
ClusterName=studio
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$dir/munged.sock
SlurmctldPort=16817
SlurmctldPidFile=$dir/slurmctld.pid
SlurmdPidFile=$dir/slurmd-%n.pid
StateSaveLocation=$dir/state
SlurmdSpoolDir=$dir/spool/%n
SlurmctldLogFile=$dir/log/slurmctld.log
SlurmdLogFile=$dir/log/slurmd-%n.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
JobCompType=jobcomp/none
MpiDefault=none
SwitchType=switch/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
SchedulerParameters=sched_interval=1,batch_sched_delay=0,sched_min_interval=0,defer_batch
ReturnToService=2
MinJobAge=86400
KillWait=5
MessageTimeout=60
SlurmdParameters=config_overrides
NodeName=n1 NodeHostname=$host NodeAddr=127.0.0.1 Port=17001 CPUs=$cpus RealMemory=$memory State=UNKNOWN
NodeName=n2 NodeHostname=$host NodeAddr=127.0.0.1 Port=17002 CPUs=$cpus RealMemory=$memory State=UNKNOWN
PartitionName=main Nodes=n1,n2 Default=YES MaxTime=INFINITE State=UP
CONF

export SLURM_CONF="$dir/slurm.conf"
/usr/sbin/slurmctld -f "$SLURM_CONF" -c
for node in n1 n2; do /usr/sbin/slurmd -f "$SLURM_CONF" -N "$node"; done

# The executor plugin drops every SLURM_* variable inside a job, SLURM_CONF too, so that a
# configuration outside /etc/slurm needs these in front of the client commands.
for command in srun sbatch squeue scancel scontrol sinfo sacct sacctmgr; do
  printf '#!/bin/sh\nSLURM_CONF=%s exec /usr/bin/%s "$@"\n' "$SLURM_CONF" "$command" > "$dir/bin/$command"
  chmod +x "$dir/bin/$command"
done
for _ in $(seq 30); do
  sinfo -h -o %t | grep -q idle && exit 0
  sleep 1
done
echo "Slurm did not become idle within 30 s; see $dir/log" >&2
exit 1
