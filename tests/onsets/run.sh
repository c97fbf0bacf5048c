#!/bin/sh
# All steps from the fonts to the table.
# usage: run.sh FONT1.sf2 PATCHES FOLDER [NAME=NET.json | NAME=PROGRAM ...]    the last ones are compared as well
set -eu
here=$(dirname "$0") font=$1 patches=$2 out=$3
shift 3
mkdir -p "$out/fonts"
python "$here/gen_fonts.py" --check "$out/fonts"
python "$here/gen_fonts.py" "$patches" "$out/fonts"
other=$out/fonts/patches.sf2

python "$here/gen_strokes.py" "$out/evaluation" 4001
python "$here/gen_voices.py" "$out/evaluation" 4002 font1 "$font"
python "$here/gen_voices.py" "$out/evaluation" 4003 font2 "$other"

python "$here/gen_strokes.py" "$out/development" 75 --training
python "$here/gen_training.py" "$out/development/font1-general" 71 "$font"
python "$here/gen_training.py" "$out/development/font2-general" 72 "$other"
python "$here/gen_voices.py" "$out/development" 73 font1 "$font"
python "$here/gen_voices.py" "$out/development" 74 font2 "$other"

python "$here/gen_strokes.py" "$out/training" 51 --training
for seed in 1 2 3; do
    python "$here/gen_training.py" "$out/training/font1-$seed" $seed "$font"
    python "$here/gen_training.py" "$out/training/font2-$seed" 10$seed "$other"
done
python "$here/gen_voices.py" "$out/training" 61 font1v "$font"
python "$here/gen_voices.py" "$out/training" 62 font2v "$other"

python "$here/train.py" features "$out/training" "$out/training.npz" --degrade
python "$here/train.py" features "$out/development" "$out/development.npz"
python "$here/train.py" fit "$out/training.npz" "$out/development.npz" "$out/both.json"
python "$here/train.py" join "$here/font1.json" "$out/both.json" "$out/development.npz" "$out/net.json"
python "$here/pack.py" "$out/net.json" "$out/onset-net.f32"
python "$here/evaluate.py" "$out/evaluation" new="$out/net.json" "$@" | tee "$out/table.txt"
