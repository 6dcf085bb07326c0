# Sourced by tests/run: axe and the Nu checker.

# npm_answers: whether npm's own registry answers. One that knows no ping answers all the same, by
# a refusal (npm tells HTTP's 404 as E404).
npm_answers() {
    told="$(timeout 30 npm ping --fetch-retries=0 --fetch-timeout=10000 2>&1)" && return 0
    case "$told" in *" code E4"*) return 0 ;; esac
    return 1
}

# npm_packages FOLDER: install what its package.json asks for. Without an answer, or where a
# certificate is not trusted, npm itself would try again for minutes.
npm_packages() {
    why="its registry does not answer"
    if ! command -v npm >/dev/null; then
        why="npm itself is missing"
    elif npm_answers; then
        timeout 300 npm install --omit=dev --no-package-lock --no-audit --no-fund --silent \
            --fetch-retries=1 --fetch-timeout=60000 --prefix "$1" && return 0
        why="npm install --prefix $1 says more"
    fi
    echo "npm could not install axe and the Nu checker ($why): tests of markup and access skip" \
        "where they are not there already"
}
