#!/bin/bash
# The scripts for clusters, used wrongly. Slurm itself is not needed: sbatch is a script here that
# only counts.
# usage: refusals.sh PROGRAM PROJECT
set -u
program=$(realpath "$1")
scripts=$(realpath "$2")/scripts/cluster
plain=$(realpath "$2")/tests/data/cases/plain
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
failures=0

fail() {
    echo "FAIL: $*"
    failures=$((failures + 1))
}

# expect STATUS TEXT SCRIPT ARGUMENT...: the exit status, and TEXT in what is printed.
expect() {
    local status=$1 text=$2 got
    shift 2
    "$scripts/$1" "${@:2}" >printed 2>&1
    got=$?
    [ "$got" -eq "$status" ] || fail "exit status $got, expected $status: $*: $(cat printed)"
    grep -qF -- "$text" printed || fail "$*: '$text' is not in: $(cat printed)"
}

# A PATH with what the scripts need, without Slurm.
mkdir bin slurm
for tool in bash awk cat cp cut date dirname grep head mkdir paste realpath rm stat tail touch tr wc; do
    ln -s "$(command -v $tool)" bin/
done
ln -s "$program" bin/packspan
cat >slurm/sbatch <<'END'
#!/bin/bash
echo x >>sbatch_calls
wc -l <sbatch_calls
END
printf '#!/bin/bash\n' >slurm/scancel
printf '#!/bin/bash\nexit 1\n' >slurm/squeue
chmod +x slurm/*
export PATH=$scratch/bin

expect 0 "usage: submit study|run CASE OUT --parts N" submit --help
expect 64 "usage: submit study|run CASE OUT --parts N" submit
expect 64 "usage:" submit check "$plain" out --parts 3
expect 64 "CASE and OUT are needed" submit run "$plain"
expect 64 "option '--parts': is needed" submit run "$plain" out
expect 64 "option '--parts': needs a value" submit run "$plain" out --parts
for wrong in 0 -1 1.5 many 1000000 ''; do
    expect 64 "option '--parts': is not possible: '$wrong'; 1 to 999999" \
        submit run "$plain" out --parts "$wrong"
done
expect 64 "option '--at-once': is not possible: '0'" submit run "$plain" out --parts=3 --at-once=0
expect 64 "option '--part': submit gives this one itself" submit run "$plain" out --parts 3 --part 1/3
expect 64 "option '-o': submit gives this one itself" submit run "$plain" out --parts 3 -o there
expect 64 "no such option: '--sampels'" submit run "$plain" out --parts 3 --sampels 1000
expect 64 "option '--samples': is not possible: 'few'" submit run "$plain" out --parts 3 --samples few
expect 64 "a line break in a name" submit run "$plain" $'two\nlines' --parts 3
expect 66 "no/such/case" submit run no/such/case out --parts 3
cp -r "$plain" broken && echo 'van,subject,more,than,there,is' >>broken/vehicles.csv
expect 65 "vehicles.csv:4" submit run broken out --parts 3
expect 69 "no sbatch on the PATH" submit run "$plain" out --parts 3
[ ! -e out ] || fail "a refused submission left a folder"

expect 64 "usage: state OUT" state
expect 64 "usage: state OUT" state one two
expect 66 "no such folder: out" state out
expect 64 "usage: again OUT" again
expect 64 "usage: again OUT" again out --time=5
mkdir out
expect 66 "nothing was submitted into $scratch/out" state out
expect 66 "nothing was submitted into $scratch/out" again out

PATH=$scratch/slurm:$PATH
touch out/part_1_of_2.part
expect 65 "holds parts that were not submitted from here" submit run "$plain" out --parts 3
rm out/part_1_of_2.part
expect 0 "Submitted 3 parts as array job 1 and job 2" submit run "$plain" out --parts 3 --seed 5
expect 64 "this was submitted already" submit run "$plain" out --parts 3 --seed 5
expect 65 "holds parts of something else" submit run "$plain" out --parts 3 --seed 6
expect 65 "holds parts of something else" submit run "$plain" out --parts 4 --seed 5
[ "$(wc -l <sbatch_calls)" -eq 2 ] || fail "sbatch was called for what was refused"
expect 69 "squeue does not answer" state out
expect 69 "squeue does not answer" again out

printf '#!/bin/bash\necho no such partition >&2\nexit 1\n' >slurm/sbatch
expect 69 "no such partition" submit run "$plain" other --parts 3
[ ! -e other/cluster ] || fail "a submission that Slurm refused left a record"
[ "$failures" -eq 0 ]
