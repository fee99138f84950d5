#!/bin/bash
# What tests/tests/browser.rs needs: chromium, node, and the packages of package-lock.json. May be
# run again at any time.
set -euo pipefail
cd "$(dirname "$0")"
packages=()
command -v chromium >/dev/null || packages+=(chromium)
command -v npm >/dev/null || packages+=(npm)
command -v node >/dev/null || packages+=(nodejs)
if [ ${#packages[@]} -gt 0 ]; then
    root=()
    [ "$(id -u)" = 0 ] || root=(sudo)
    export DEBIAN_FRONTEND=noninteractive
    "${root[@]}" apt-get update -qq
    "${root[@]}" apt-get install -y -qq --no-install-recommends "${packages[@]}"
fi
if ! cmp -s package-lock.json node_modules/.installed-for; then
    npm ci --ignore-scripts --no-audit --no-fund --silent
    cp package-lock.json node_modules/.installed-for
fi
echo "browser tests ready: $(chromium --version 2>/dev/null), node $(node --version)"
