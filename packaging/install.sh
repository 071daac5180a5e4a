#!/bin/sh
# Puts the plugins where DAWs look for them, and the programs where programs are. Linux and macOS.
#
#   sh install.sh                        for you
#   sudo sh install.sh --system          for everybody
#   sh install.sh --uninstall            takes all of it away again (with --system: for everybody)
set -eu
cd "$(dirname "$0")"

everybody=no
away=no
for word in "$@"; do
    case "$word" in
    --user) ;;
    --system) everybody=yes ;;
    --uninstall) away=yes ;;
    *)
        echo "install.sh: '$word' is not expected; it takes --system and --uninstall" >&2
        exit 2
        ;;
    esac
done

# The folders that the documents of CLAP and VST3 name.
case "$(uname -s)-$everybody" in
Darwin-no)
    plugins="$HOME/Library/Audio/Plug-Ins"
    clap="$plugins/CLAP" vst3="$plugins/VST3" applications="$HOME/Applications"
    programs="$HOME/.local/bin" manuals="$HOME/.local/share/man/man1"
    ;;
Darwin-yes)
    plugins="/Library/Audio/Plug-Ins"
    clap="$plugins/CLAP" vst3="$plugins/VST3" applications="/Applications"
    programs="/usr/local/bin" manuals="/usr/local/share/man/man1"
    ;;
*-no)
    clap="$HOME/.clap" vst3="$HOME/.vst3" applications="$HOME/.local/bin"
    programs="$HOME/.local/bin" manuals="$HOME/.local/share/man/man1"
    ;;
*)
    clap="/usr/lib/clap" vst3="/usr/lib/vst3" applications="/usr/local/bin"
    programs="/usr/local/bin" manuals="/usr/local/share/man/man1"
    ;;
esac

# What there is in this archive, and where it belongs.
each() {
    "$1" Sumproof.clap "$clap"
    "$1" Sumproof.vst3 "$vst3"
    "$1" Sumproof.app "$applications"
    "$1" sumproof-standalone "$programs"
    "$1" sumproof "$programs"
    "$1" sumproof.1 "$manuals"
}

place() {
    [ -e "$1" ] || return 0
    if ! mkdir -p "$2" || ! [ -w "$2" ]; then
        echo "install.sh: $2 can't be written to; for everybody, run: sudo sh install.sh --system" >&2
        exit 1
    fi
    # Beside its place first, so that a DAW never loads half a plugin.
    rm -rf "$2/.$1.part"
    cp -R "$1" "$2/.$1.part"
    # macOS marks what came over the network, and loads no marked plugin that isn't notarised.
    if command -v xattr >/dev/null; then
        xattr -dr com.apple.quarantine "$2/.$1.part" 2>/dev/null || true
    fi
    rm -rf "${2:?}/$1"
    mv "$2/.$1.part" "$2/$1"
    echo "installed $2/$1"
}

remove() {
    [ -e "$2/$1" ] || return 0
    rm -rf "${2:?}/$1"
    echo "removed $2/$1"
}

if [ "$away" = yes ]; then
    each remove
    exit 0
fi

# Nothing is installed from a damaged archive.
if command -v sha256sum >/dev/null; then
    sha256sum --quiet -c SHA256SUMS || exit 1
elif command -v shasum >/dev/null; then
    shasum -a 256 -c SHA256SUMS >/dev/null || exit 1
fi
each place
echo "let your DAW scan for new plugins; 'sh install.sh --uninstall' takes all of it away again"
case ":$PATH:" in
*":$programs:"*) ;;
*) echo "$programs is not in your PATH: start the programs by their whole name, or add it" ;;
esac
