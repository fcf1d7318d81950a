#pragma once
#include <cstddef>
#include <optional>
#include <vector>

namespace hushtrace {

/// Where the source's volume stands, and which volume each rest of the knob was.
///
/// Two ways. A link that turns the knob itself says when and to what (turned_to). A hand turns it and says so, before
/// or after (said_up, said_down): what was said labels the rest that it was said in, unless that had its label; then it
/// waits for the next one. Two words within 0.8 s are one movement of two steps. What waits for 3 s without a new rest
/// belongs to the present one after all. A rest that nobody spoke for stays without a volume, and when there were more
/// turns up than words for them the count is doubtful.
class KnobCount {
public:
    static constexpr double one_movement_s = 0.8, patience_s = 3.0;
    static constexpr double link_patience_s = 1.5, frame_s = 0.08;  ///< of the link's turns; how well a rest's start is known

    /// `start`: where the knob stands at first; unset: nothing is counted. `step`: what one up is. `top`: the scale's end.
    KnobCount(std::optional<double> start, double step, std::optional<double> top);

    bool counts() const { return place_.has_value(); }
    std::optional<double> place() const { return place_; }

    /// The link turned it.
    void turned_to(double volume, double at_s);
    /// A hand says that it turned it one step; nothing without a start.
    void said_up(double at_s) { said(step_, at_s); }
    void said_down(double at_s) { said(-step_, at_s); }

    /// Time starts anew, and so do the rests: wherever the knob stands now is the first one's place. Before the first rest.
    void begun();
    /// A new rest began; `louder`: than the one before.
    void rested(double from_s, bool louder);
    /// The last rest turned out to be one with that before it.
    void merged();
    /// Time goes on: a word, or the link's turn, that waited too long without a new rest settles on the present one.
    ///   returns true when that makes a rest of its own: a step that changed nothing in the sound. It stands in volumes()
    bool at(double now_s);

    /// [rests] volume of each, where somebody said it.
    const std::vector<std::optional<double>>& volumes() const { return volumes_; }
    /// The link's knob at a moment; nothing where a hand turns it.
    std::optional<double> turned_at(double time_s) const;
    /// A word was said that no rest has been found for yet.
    bool waits() const { return waiting_since_s_.has_value(); }
    bool doubtful() const { return missed_ > 0; }

private:
    void said(double by, double at_s);
    void label_last();

    std::optional<double> place_, top_;
    double step_;
    bool by_link_ = false;
    struct Turn {
        double time_s, volume;
    };
    std::vector<Turn> turns_;  // the link's
    std::vector<std::optional<double>> volumes_;
    std::vector<double> starts_;  // [rests]
    std::optional<double> waiting_since_s_, last_said_s_;
    bool last_claimed_ = false;  // the last rest has its label
    int missed_ = 0;
};

}  // namespace hushtrace
