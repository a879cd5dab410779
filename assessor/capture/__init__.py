"""Recording a take from a device, against a click.

- `slate`: what was known when a take was recorded, kept in the file itself
- `clicks`: the count-in and the click, frame by frame
- `level`: how loud the input is, and whether that will do
- `ending`: when the lick has been played so many times
- `journal`: sound on its way to the disk, whatever happens
- `taker`: one take, from blocks of sound to a file; knows no device
- `devices`: the sound card; the only module that talks to one
- `known`: latencies that were measured

The first six are pure: they are driven by blocks, wherever those come from.
"""
