package cli

import "github.com/spf13/cobra"

func drawingsTopic() *cobra.Command {
	return &cobra.Command{Use: "drawings", Short: "How a yard's drawing is written", Long: drawingsText}
}

const drawingsText = `DRAWINGS

A drawing is a YAML file: one yard, one revision. Nodes are places of energy,
links are the ways between them with what stands in them, zones are where people
work. Every way energy can take must be drawn, in all media: a gate that leaks, a
fan that windmills, a cord from a generator. Names are lower-case letters, digits
and hyphens; another yard's node is written yard/node.

  yard: millrow
  revision: 1
  title: Millrow dryer yard
  stock:
    - {hardware: breaker clip, count: 6}
  use:
    # A template: breaker, contactor, start button, motor and local disconnect.
    - {template: starter-local, name: leg-1, label: leg 1, feed: mcc-bus, panel: mcc, at: head-house, rating: 60 A}
    # The belt on that motor; the grain in its buckets at their mean height.
    - {template: leg, name: leg-1, kilograms: 380, metres: 13}
  nodes:
    - {name: utility, kind: source, label: 480 V service, volts: 480}
    - {name: mcc-bus, kind: bus, place: control room}
    - {name: bin-1, kind: source, label: grain in bin 1}
    # What stays in it when everything is off: a store is a node of its own.
    - {name: leg-1-weight, kind: store, label: take-up weight of leg 1, store: {medium: motion, release: set it on its pin, raised_load: {kilograms: 120, metres: 2}}}
  links:
    - {name: service, from: utility, to: mcc-bus, medium: electricity, device: {kind: breaker, panel: mcc, device: main, lockable: true, poles: 3}}
    - {name: bin-1-pan, from: bin-1, to: leg-1-boot, medium: grain, device: {kind: blank, panel: boot-pit, device: bin-1-pan, lockable: true}}
    - {name: leg-1-take-up, from: leg-1-weight, to: leg-1, medium: motion}
  zones:
    - name: leg-1-boot
      label: clearing the boot of leg 1
      parts:
        - {node: leg-1, media: [motion]}
        - {node: leg-1-boot, media: [grain]}
        - {node: leg-1-motor, media: [electricity]}

node     kind: source, bus, machine, store, control. A control has starts: [machine]
         and start: local, remote or automatic; sources that one transfer switch
         keeps apart have the same interlock.
store    medium, release (what people do about it, in words), and what it is:
         capacitor, flywheel, raised_load, spring, vessel, accumulator, hot_part or
         grain_above, with figures; or joules and wait as they are. Figures are named by their unit: farads or
         microfarads; metres or feet; kilograms or pounds; cubic_metres, litres,
         gallons or cubic_feet; kilopascals, psi or bar; celsius or fahrenheit.
         builds_up and recheck: it can come back while work goes on.
device   kind, panel, device, lockable, hardware, holes, poles, rating,
         under_holders_control (a plug), leaves_conductor_closed.
zone     parts, each a node and the media that reach people there. Two locked devices
         on every way (double isolation) where entered: true says that people go
         in, and against grain, fuel gas and chemicals; else one. isolation: double
         asks for two, single for one, with waived_by and waived_why.
link     both ways unless one_way gives a physical reason.
template of your own: templates: with name, parameters, defaults, nodes, links and
         zones, in whose texts <parameter> stands for what a use gives.

Built-in templates: starter, starter-local, drive, leg, conveyor, gate,
gate-and-pan, fan, air-tank, gas-train.

"yardhasp drawing check" says what is wrong and what looks wrong, by line and
column; what a template made is shown at the line of its use. Editors can check
with the JSON Schema client/drawing/schema.json.`
