#!/usr/bin/env bash
# Stop what slurm_up.sh started. usage: slurm_down.sh DIR
dir=$(realpath -m "$1")
for pid in "$dir"/slurmd-n1.pid "$dir"/slurmd-n2.pid "$dir"/slurmctld.pid "$dir"/munge/munged.pid; do
  [ -f "$pid" ] && kill "$(cat "$pid")"
done
true
