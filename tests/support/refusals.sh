# shellcheck shell=bash
# Sourced by tests of scripts that are used wrongly: enters a folder of its own, which goes at the
# end; counts failures.
scratch=$(mktemp -d) || exit 1
trap 'rm -rf "$scratch"' EXIT
cd "$scratch" || exit 1
failures=0

fail() {
    echo "FAIL: $*"
    failures=$((failures + 1))
}

# expect_of STATUS TEXT COMMAND...: the exit status, and TEXT in what is printed, which must be
# nothing if TEXT is empty.
expect_of() {
    local status=$1 text=$2 got
    shift 2
    "$@" >printed 2>&1
    got=$?
    [ "$got" -eq "$status" ] || fail "exit status $got, expected $status: $*: $(cat printed)"
    if [ -z "$text" ]; then
        [ ! -s printed ] || fail "printed: $(cat printed)"
        return
    fi
    grep -qF -- "$text" printed || fail "$*: '$text' is not in: $(cat printed)"
}
