package pipeline

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
)

// look writes what to look for, one sentence for each model, from the claim; nil is none.
func (p *planner) look(claim *Claim) {
	o := p.out
	o.LookCurved, o.LookPlane = "If the Earth is curved: ", "If it is a plane: "
	if a := o.Alignment; a != nil && claim != nil {
		o.LookCurved += alignmentLook(a, claim.Model(ModelCurved), a.Case)
		o.LookPlane += alignmentLook(a, claim.Model(ModelPlane), BothInView)
		if !a.PlaneShowsBoth {
			o.LookPlane = "If it is a plane: not both tops are in view either."
		}
		return
	}
	l := &o.Line
	angle, ok := NewFrontAngle(l, l.KFree)
	if !ok {
		o.LookCurved += shown(l.TargetName, l.MarginArcmin)
		o.LookPlane += shown(l.TargetName, l.MarginPlaneArcmin)
		return
	}
	o.LookCurved += fmt.Sprintf("the top of %s stands %.1f ± %.1f′ over the ground %.1f km away that cuts off its foot; all of it below %.0f m is out of view.",
		l.TargetName, angle.CurvedArcmin, angle.CurvedSDArcmin, *l.FrontDistanceM/1000, *l.ObscuredHeightM)
	o.LookPlane += fmt.Sprintf("it stands %.1f ± %.1f′ over that ground; ", angle.PlaneArcmin, angle.PlaneSDArcmin)
	if l.ObscuredHeightPlaneM != nil {
		o.LookPlane += fmt.Sprintf("all of it below %.0f m is out of view.", *l.ObscuredHeightPlaneM)
	} else {
		o.LookPlane += "all of it shows."
	}
}

// alignmentLook says what one model shows of an alignment, whose case the other may not share.
func alignmentLook(a *Alignment, m *ClaimModel, kind Case) string {
	switch kind {
	case FarBehindNear:
		return fmt.Sprintf("%s is out of view behind %s, which stands %.1f′ higher.", a.FarName, a.NearName, -a.SeparationArcmin)
	case NearMissingFarSeen:
		return fmt.Sprintf("%s, %.1f km away, is out of view, while %s, %.1f km away and %.0f′ beside its place, shows.", a.NearName, a.NearDistanceM/1000, a.FarName, a.FarDistanceM/1000, math.Abs(a.AzimuthDifferenceArcmin))
	}
	over := "over"
	if *m.AngleArcmin < 0 {
		over = "under"
	}
	return fmt.Sprintf("both show, and the top of %s stands %.1f ± %.1f′ %s that of %s.", a.FarName, math.Abs(*m.AngleArcmin), *m.AngleSDArcmin, over, a.NearName)
}

func shown(name string, marginArcmin float64) string {
	if marginArcmin < 0 {
		return fmt.Sprintf("the top of %s is out of view, %.1f′ below the ground before it.", name, -marginArcmin)
	}
	return fmt.Sprintf("the top of %s is in view, %.1f′ over the highest ground on the way.", name, marginArcmin)
}

// MarshalJSON gives the line and the alignment by their columns.
func (o Outing) MarshalJSON() ([]byte, error) {
	type plain Outing
	return json.Marshal(struct {
		Line      json.RawMessage `json:"line"`
		Alignment json.RawMessage `json:"alignment"`
		plain
	}{columnsJSON(reflect.ValueOf(o.Line)), columnsJSON(reflect.ValueOf(o.Alignment)), plain(o)})
}

// columnsJSON is a row as an object whose members are its columns, in their order; null for no row.
func columnsJSON(row reflect.Value) json.RawMessage {
	if row.Kind() == reflect.Pointer {
		if row.IsNil() {
			return json.RawMessage("null")
		}
		row = row.Elem()
	}
	var members []string
	for field, value := range row.Fields() {
		column, _, _ := strings.Cut(field.Tag.Get("parquet"), ",")
		if column == "" || column == "-" {
			continue
		}
		text, err := json.Marshal(value.Interface())
		if err != nil {
			text = []byte("null") // an infinite k_c has no form in JSON
		}
		members = append(members, fmt.Sprintf("%q:%s", column, text))
	}
	return json.RawMessage("{" + strings.Join(members, ",") + "}")
}
