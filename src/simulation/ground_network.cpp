#include "ground_network.hpp"

#include <cmath>
#include <utility>

namespace hushtrace::simulated {
namespace {

constexpr std::size_t nodes = GroundNetwork::node_count;
constexpr std::size_t drives = GroundNetwork::drive_count;
/// Capacitance and damp tie every floating piece to the body a little.
constexpr double stray_siemens = 1e-8;

}  // namespace

GroundNetwork::GroundNetwork() {
    for (std::size_t n = 0; n < nodes; ++n) conductance_[n][n] = stray_siemens;
}

void GroundNetwork::join(Node a, Node b, double ohm) {
    conductance_[a][a] += 1.0 / ohm;
    conductance_[b][b] += 1.0 / ohm;
    conductance_[a][b] -= 1.0 / ohm;
    conductance_[b][a] -= 1.0 / ohm;
}
void GroundNetwork::join_body(Node node, double ohm) {
    conductance_[node][node] += 1.0 / ohm;
}
void GroundNetwork::join_driven(Node node, Drive voltage, double ohm) {
    join_body(node, ohm);
    injected_[node][voltage] += 1.0 / ohm;
}
void GroundNetwork::inject(Node node, Drive current) {
    injected_[node][current] += 1.0;
}

GroundNetwork::Solution GroundNetwork::solve() const {
    // Gauss with pivots, all right-hand sides at once: one a drive, and one for the shield's own current.
    std::array<std::array<double, nodes + drives + 1>, nodes> rows{};
    for (std::size_t n = 0; n < nodes; ++n) {
        for (std::size_t m = 0; m < nodes; ++m) rows[n][m] = conductance_[n][m];
        for (std::size_t d = 0; d < drives; ++d) rows[n][nodes + d] = injected_[n][d];
    }
    rows[source_case][nodes + drives] = -1.0;
    rows[lead_shell][nodes + drives] = 1.0;
    for (std::size_t pivot = 0; pivot < nodes; ++pivot) {
        std::size_t best = pivot;
        for (std::size_t n = pivot + 1; n < nodes; ++n)
            if (std::abs(rows[n][pivot]) > std::abs(rows[best][pivot])) best = n;
        std::swap(rows[pivot], rows[best]);
        for (std::size_t n = 0; n < nodes; ++n) {
            if (n == pivot) continue;
            const double factor = rows[n][pivot] / rows[pivot][pivot];
            for (std::size_t m = pivot; m < rows[n].size(); ++m) rows[n][m] -= factor * rows[pivot][m];
        }
    }
    Solution solution;
    for (std::size_t n = 0; n < nodes; ++n) {
        for (std::size_t d = 0; d < drives; ++d) solution.potential[n][d] = rows[n][nodes + d] / rows[n][n];
        solution.per_shield_amp[n] = rows[n][nodes + drives] / rows[n][n];
    }
    for (std::size_t d = 0; d < drives; ++d)
        solution.shield_voltage[d] = solution.potential[source_case][d] - solution.potential[lead_shell][d];
    solution.shield_ohm = solution.per_shield_amp[lead_shell] - solution.per_shield_amp[source_case];
    return solution;
}

}  // namespace hushtrace::simulated
