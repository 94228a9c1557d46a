package gritbook.shell

import android.graphics.Bitmap
import android.graphics.Canvas
import android.graphics.Paint
import android.graphics.Path
import android.graphics.RadialGradient
import android.graphics.Shader
import java.io.File
import java.util.Random
import kotlin.math.cos
import kotlin.math.sin

/** A photo of a cup's face as a test needs one: painted, not photographed; the higher [wear] (0 to 4), the more its lip is torn. */
fun wornFace(wear: Int): File {
    val random = Random(7L + wear)
    val picture = Bitmap.createBitmap(1200, 900, Bitmap.Config.ARGB_8888)
    val canvas = Canvas(picture)
    canvas.drawColor(0xFF6E6A62.toInt())
    val grit = Paint(Paint.ANTI_ALIAS_FLAG)
    repeat(6_000) {
        grit.color = 0xFF000000.toInt() or (0x010101 * (0x48 + random.nextInt(0x50)))
        canvas.drawCircle(random.nextFloat() * 1200, random.nextFloat() * 900, 1f + random.nextFloat() * 2.5f, grit)
    }
    val face = Path()
    for (step in 0..360) {
        val angle = Math.toRadians(step.toDouble())
        // Tears come in runs: a slow wave decides where, a fast one how deep.
        val torn = maxOf(0.0, sin(angle * 3 + wear) * 0.6 + sin(angle * 41) * 0.4) * wear * 14
        val radius = (380 - torn).toFloat()
        val (x, y) = 600 + radius * cos(angle).toFloat() to 450 + radius * sin(angle).toFloat()
        if (step == 0) face.moveTo(x, y) else face.lineTo(x, y)
    }
    face.close()
    val rubber = Paint(Paint.ANTI_ALIAS_FLAG).apply { shader = RadialGradient(520f, 360f, 520f, 0xFFC98A3A.toInt(), 0xFF7A4A1C.toInt(), Shader.TileMode.CLAMP) }
    canvas.drawPath(face, rubber)
    val edge = Paint(Paint.ANTI_ALIAS_FLAG).apply { style = Paint.Style.STROKE; strokeWidth = 7f; color = 0xFF4A2C10.toInt() }
    canvas.drawPath(face, edge)
    canvas.drawCircle(600f, 450f, 300f, edge.apply { strokeWidth = 4f })
    canvas.drawCircle(600f, 450f, 95f, Paint(Paint.ANTI_ALIAS_FLAG).apply { color = 0xFF55565A.toInt() })
    repeat(wear * 260) {
        val (angle, far) = random.nextDouble() * 2 * Math.PI to 110 + random.nextFloat() * 260
        grit.color = 0xFF000000.toInt() or (0x010101 * (0x30 + random.nextInt(0x60)))
        canvas.drawCircle(600 + far * cos(angle).toFloat(), 450 + far * sin(angle).toFloat(), 1.5f + random.nextFloat() * 4, grit)
    }
    val file = File.createTempFile("worn", ".jpg").apply { deleteOnExit() }
    file.outputStream().use { picture.compress(Bitmap.CompressFormat.JPEG, 85, it) }
    picture.recycle()
    return file
}
