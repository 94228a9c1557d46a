import gritbook.core.BoxFluid;
import gritbook.core.DriveSide;
import gritbook.core.FieldBook;
import gritbook.core.FieldBookException;
import gritbook.core.Moment;
import gritbook.core.PumpSpec;
import gritbook.core.SealVariant;
import gritbook.core.SpeedControl;
import gritbook.core.TestSwitches;

/**
 * Runs what is left of the classes on this machine's JVM: a pump goes into a book and comes out of it, an error arrives as its exception.
 * Argument: an empty folder.
 */
class Smoke {
    public static void main(String[] arguments) throws Exception {
        Moment now = new Moment(1_780_000_000_000L, 0);
        FieldBook book = FieldBook.Companion.open(arguments[0], "Ana", "Smoke", now);
        String id = book.addPump(pump("Otter"), now);
        var pumps = book.pumps();
        check(pumps.size() == 1 && pumps.get(0).getId().equals(id) && pumps.get(0).getSpec().getBoreMm() == 200.0, pumps.toString());
        try {
            book.addPump(pump(" "), now);
            throw new AssertionError("a pump without a name was taken");
        } catch (FieldBookException.Refused refused) {
            check(!refused.getAdvice().isEmpty(), refused.toString());
        }
        System.out.println("what is left of the classes runs");
    }

    private static PumpSpec pump(String name) {
        return new PumpSpec(
            name, 200.0, 2100.0, 120.0, 80.0, DriveSide.ROD, SealVariant.GUIDE_BAND, BoxFluid.WATER, TestSwitches.TWO, SpeedControl.VALVE);
    }

    private static void check(boolean right, String otherwise) {
        if (!right) throw new AssertionError(otherwise);
    }
}
