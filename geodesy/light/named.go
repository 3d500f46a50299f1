package light

// The trade's words for what layered air does to light (AMS Glossary of Meteorology).
const (
	// Ducting: light bends as much as the sea, or more, and can be caught (k ≥ 1).
	Ducting = "ducting"
	// Looming: light bends so much more than usual that things come up from behind the horizon.
	Looming = "looming"
	// Sinking: light bends upwards (k < 0), as over warm ground or water.
	Sinking = "sinking"
)

// loomingK is the customary 0.143 with three of its spreads of 0.04, where the verdict `looming` ends.
const loomingK = 0.143 + 3*0.04

// Name returns the word for air, or a ray, of refraction coefficient k; "" for usual air.
func Name(k float64) string {
	switch {
	case k >= 1:
		return Ducting
	case k > loomingK:
		return Looming
	case k < 0:
		return Sinking
	}
	return ""
}

// Name returns the word for the ray: ducting where a layer on its way can catch light, else that of its equivalent k.
func (r Ray) Name() string {
	if r.GreatestK >= 1 {
		return Ducting
	}
	return Name(r.K)
}

// NamedLayer is a layer of unusual air.
type NamedLayer struct {
	Name          string
	BottomM, TopM float64
	// K is the refraction coefficient in it that is farthest from usual.
	K float64
}

// NamedLayers returns the layers between the lowest and highest level that the profile was made from whose air is ducting, looming or
// sinking, upwards.
func (p *Profile) NamedLayers() []NamedLayer {
	var out []NamedLayer
	for i, k := range p.sub.k {
		bottomM, topM := p.sub.boundM[i], p.sub.boundM[i+1]
		name := Name(k)
		if bottomM < p.lowestM || topM > p.highestM || name == "" {
			continue
		}
		if n := len(out) - 1; n >= 0 && out[n].Name == name && out[n].TopM == bottomM {
			out[n].TopM = topM
			if (k > out[n].K) == (k > 0) {
				out[n].K = k
			}
			continue
		}
		out = append(out, NamedLayer{Name: name, BottomM: bottomM, TopM: topM, K: k})
	}
	return out
}
