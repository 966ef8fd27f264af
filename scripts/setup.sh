# Sourced by scripts/demo, scripts/test and scripts/bench: installs what is missing, builds.
set -eu
cd "$(dirname "$0")/.."

build_packages="gcc libc6-dev cmake make libcsv-dev libudunits2-dev nettle-dev gnuplot-nox"
test_packages="g++ clang libomp-dev libclang-rt-14-dev clang-format libcmocka-dev libgsl-dev
    libpcg-cpp-dev python3-numpy python3-scipy slurm-wlm munge"
# OpenBLAS, so that NumPy is at its best
bench_packages="libgsl-dev python3-numpy python3-scipy libopenblas0-pthread"

# install_packages NAME...: those that dpkg does not have, by apt-get; quick when there are none.
install_packages() {
    missing=
    for package in "$@"; do
        state=$(dpkg-query -W -f '${db:Status-Abbrev}' "$package" 2>/dev/null || true)
        case $state in
        ii*) ;;
        *) missing="$missing $package" ;;
        esac
    done
    [ -n "$missing" ] || return 0
    echo "Installing Debian packages:$missing"
    as_root=
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null || {
            echo "Run this as root, or install sudo, or install those packages yourself." >&2
            exit 1
        }
        as_root=sudo
    fi
    $as_root apt-get update -qq
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
        $missing >/dev/null
}

# build FOLDER OPTION...: configures and builds; says nothing unless it fails.
build() {
    folder=$1
    shift
    mkdir -p "$folder"
    echo "Building in $folder"
    {
        cmake -S . -B "$folder" "$@" && cmake --build "$folder" -j "$(nproc)"
    } >"$folder/build.log" 2>&1 || {
        cat "$folder/build.log" >&2
        exit 1
    }
}
